package terrain

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
)

// General-purpose programs on the same raster in the same run: scikit-image's
// MCP_Geometric (8 neighbours) and GRASS GIS's r.cost -k (16 neighbours). Both
// charge the mean of two cells' friction times the distance, as the field does
// on level ground of several classes.

// references are the cost surfaces of the other programs, row-major, and the
// processor time that each took.
type references struct {
	mcp, grass         []float64
	mcpCPU, grassCPU   float64
	grid               *Grid
	cost               LayingCost
	startCol, startRow int
}

// python is the one that Debian's packages belong to.
const python = "/usr/bin/python3"

// askReferences runs the other programs, or skips where they are not installed.
func askReferences(tb testing.TB, n int) *references {
	tb.Helper()
	probe := "import skimage.graph, shutil, sys; sys.exit(shutil.which('grass') is None)"
	if err := exec.Command(python, "-c", probe).Run(); err != nil {
		tb.Skip("not compared with general-purpose programs: they are not installed (Debian: apt-get install grass-core python3-skimage)")
	}
	r := &references{startCol: n / 2, startRow: n / 3}
	r.grid = gridOf(n, n, 1, func(_, _ float64) float64 { return 0 })
	r.cost = LayingCost{PerMetre: 1, Ground: &GroundClasses{Factor: []float64{1, 1.5, 2.5, 5}, Of: make([]uint8, n*n)}}
	friction := make([]byte, 4*n*n)
	for i := range r.grid.Z {
		x, y := float64(i%n), float64(i/n)
		class := int(2 + 1.9*math.Sin(x/37)*math.Cos(y/53) + 0.4*math.Sin((x+y)/11))
		class = max(0, min(3, class))
		r.cost.Ground.Of[i] = uint8(class)
		binary.LittleEndian.PutUint32(friction[4*i:], math.Float32bits(float32(r.cost.Ground.Factor[class])))
	}
	dir := tb.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "friction.f32"), friction, 0o600); err != nil {
		tb.Fatal(err)
	}
	script, err := filepath.Abs(filepath.Join("testdata", "reference.py"))
	if err != nil {
		tb.Fatal(err)
	}
	cmd := exec.Command(python, script, dir, strconv.Itoa(n), strconv.Itoa(r.startRow), strconv.Itoa(r.startCol))
	out, err := cmd.Output()
	if err != nil {
		tb.Fatalf("the other programs failed: %v", err)
	}
	var seconds struct{ MCP, Grass float64 }
	if err := json.Unmarshal(out, &seconds); err != nil {
		tb.Fatal(err)
	}
	r.mcpCPU, r.grassCPU = seconds.MCP, seconds.Grass
	read := func(name string, bytes int) (list []float64) {
		raw, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil || len(raw) != bytes*n*n {
			tb.Fatalf("%s: %d bytes, %v", name, len(raw), err)
		}
		for i := range n * n {
			if bytes == 4 {
				list = append(list, float64(math.Float32frombits(binary.LittleEndian.Uint32(raw[4*i:]))))
			} else {
				list = append(list, math.Float64frombits(binary.LittleEndian.Uint64(raw[8*i:])))
			}
		}
		return list
	}
	r.mcp, r.grass = read("mcp.f64", 8), read("grass.f32", 4)
	return r
}

// The cost surfaces agree within what their steps are known to be too long:
// 8 neighbours 8.24 %, 16 neighbours 2.75 % (1/cos(θ/2) for the angle θ between
// two steps), and one cell of ground where classes meet.
func TestCostSurfaceAgainstGeneralPurposePrograms(t *testing.T) {
	const n = 400
	r := askReferences(t, n)
	f, err := FromTank(context.Background(), r.grid, r.grid.Centre(r.startCol, r.startRow), r.cost)
	if err != nil {
		t.Fatal(err)
	}
	const eight, sixteen = 1.0824, 1.0275
	dearest := r.cost.Ground.Factor[3]
	lowMCP, highMCP, lowGrass, highGrass := 9.0, 0.0, 9.0, 0.0
	for i := range r.grid.Z {
		own, ok := f.Cost(r.grid.Centre(i%n, i/n))
		if !ok {
			t.Fatalf("cell %d is not reached", i)
		}
		if own > 20 {
			lowMCP, highMCP = math.Min(lowMCP, r.mcp[i]/own), math.Max(highMCP, r.mcp[i]/own)
			lowGrass, highGrass = math.Min(lowGrass, r.grass[i]/own), math.Max(highGrass, r.grass[i]/own)
		}
		if r.mcp[i] < own/sixteen-dearest || r.mcp[i] > own*eight+dearest {
			t.Fatalf("cell %d,%d: MCP_Geometric %g, ours %g", i%n, i/n, r.mcp[i], own)
		}
		if r.grass[i] < own/sixteen-dearest || r.grass[i] > own*sixteen+dearest {
			t.Fatalf("cell %d,%d: r.cost -k %g, ours %g", i%n, i/n, r.grass[i], own)
		}
	}
	t.Logf("over ours: MCP_Geometric %.4f to %.4f, r.cost -k %.4f to %.4f", lowMCP, highMCP, lowGrass, highGrass)
}

// BenchmarkAgainstGeneralPurposePrograms gives how many times less processor
// time the field takes than the other programs on 4 million cells.
func BenchmarkAgainstGeneralPurposePrograms(b *testing.B) {
	const n = 2000
	r := askReferences(b, n)
	used := func() float64 {
		var u syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
			b.Fatal(err)
		}
		return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
	}
	b.ResetTimer()
	before := used()
	for range b.N {
		if _, err := FromTank(context.Background(), r.grid, r.grid.Centre(r.startCol, r.startRow), r.cost); err != nil {
			b.Fatal(err)
		}
	}
	own := (used() - before) / float64(b.N)
	b.ReportMetric(n*n/own/1e6, "Mcells/cpu-s")
	b.ReportMetric(r.mcpCPU/own, "x-MCP_Geometric")
	b.ReportMetric(r.grassCPU/own, "x-r.cost")
}
