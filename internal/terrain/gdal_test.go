package terrain

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// gdal runs a program of GDAL; without it the test is skipped.
func gdal(t *testing.T, program string, args ...string) {
	t.Helper()
	if _, err := exec.LookPath(program); err != nil {
		t.Skipf("%s is not installed: %v", program, err)
	}
	if out, err := exec.Command(program, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s %v: %v\n%s", program, args, err, out)
	}
}

// writeASCII writes a grid in the text format of ESRI, which GDAL reads.
func writeASCII(t *testing.T, path string, g *Grid) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	w := bufio.NewWriter(f)
	fmt.Fprintf(w, "ncols %d\nnrows %d\nxllcorner %g\nyllcorner %g\ncellsize %g\n", g.Cols, g.Rows, g.Bound.Min[0], g.Bound.Min[1], g.CellM)
	for i, z := range g.Z {
		fmt.Fprintf(w, "%.7g", z)
		if i%g.Cols == g.Cols-1 {
			fmt.Fprintln(w)
		} else {
			fmt.Fprint(w, " ")
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

// The hillshade is that of gdaldem (Horn's method too) to one step of 255,
// which differs in rounding; the outermost cells, which gdaldem leaves out, do
// not count.
func TestHillshadeIsThatOfGDAL(t *testing.T) {
	g := hills(200)
	dir := t.TempDir()
	ground, tif, text := filepath.Join(dir, "ground.asc"), filepath.Join(dir, "shade.tif"), filepath.Join(dir, "shade.asc")
	writeASCII(t, ground, g)
	gdal(t, "gdaldem", "hillshade", ground, tif, "-az", "315", "-alt", "45", "-q")
	gdal(t, "gdal_translate", "-q", "-of", "AAIGrid", tif, text)
	data, err := os.ReadFile(text)
	if err != nil {
		t.Fatal(err)
	}
	shade, row := Hillshade(g), 0
	for _, line := range strings.Split(string(data), "\n") {
		fields := strings.Fields(line)
		if len(fields) != g.Cols {
			continue // the header
		}
		for col := 1; col < g.Cols-1 && row > 0 && row < g.Rows-1; col++ {
			want, err := strconv.Atoi(fields[col])
			if err != nil {
				t.Fatal(err)
			}
			if got := int(shade[row*g.Cols+col]); got < want-1 || got > want+1 {
				t.Fatalf("cell %d,%d is shaded %d, by gdaldem %d", col, row, got, want)
			}
		}
		row++
	}
	if row != g.Rows {
		t.Fatalf("%d rows of shade, want %d", row, g.Rows)
	}
}

// Contours are as long as those of gdal_contour, which draws every open line on
// to the edge of the grid: half a cell more at each end, or a little more where
// it meets the edge at a slant.
func TestContoursAreThoseOfGDAL(t *testing.T) {
	g := hills(200)
	dir := t.TempDir()
	ground, lines := filepath.Join(dir, "ground.asc"), filepath.Join(dir, "contours.json")
	writeASCII(t, ground, g)
	gdal(t, "gdal_contour", "-q", "-i", "2", "-a", "level", "-f", "GeoJSON", ground, lines)
	data, err := os.ReadFile(lines)
	if err != nil {
		t.Fatal(err)
	}
	var theirs struct {
		Features []struct {
			Properties struct{ Level float64 }
			Geometry   struct{ Coordinates [][]float64 }
		}
	}
	if err := json.Unmarshal(data, &theirs); err != nil {
		t.Fatal(err)
	}
	want := map[float64]float64{}
	for _, f := range theirs.Features {
		at := f.Geometry.Coordinates
		for i := 1; i < len(at); i++ {
			want[f.Properties.Level] += math.Hypot(at[i][0]-at[i-1][0], at[i][1]-at[i-1][1])
		}
	}
	got, ends := map[float64]float64{}, map[float64]int{}
	for _, c := range Contours(g, 2) {
		for i := 1; i < len(c.Line); i++ {
			got[c.LevelM] += planarDistance(c.Line[i-1], c.Line[i])
		}
		if !c.Closed {
			ends[c.LevelM] += 2
		}
	}
	if len(got) < 8 || len(got) != len(want) {
		t.Fatalf("%d levels, by gdal_contour %d", len(got), len(want))
	}
	for level, length := range got {
		more := want[level] - length
		if more < -0.001*length || more > 1.5*float64(ends[level])+0.001*length {
			t.Errorf("the contours at %g m are %.1f m long with %d open ends, by gdal_contour %.1f m", level, length, ends[level], want[level])
		}
	}
}
