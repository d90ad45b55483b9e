package terrain

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"
)

// supplyInstance is a small grid with a creek across it.
type supplyInstance struct {
	grid  *Grid
	creek SupplyCreek
	rules SupplyRules
	grade SupplyGrade
	from  int
}

// randomSupply makes grids of all the awkward kinds: smooth slopes, noise,
// terraces with ties, holes, forbidden cells, creeks with pools.
func randomSupply(r *rand.Rand) *supplyInstance {
	in := &supplyInstance{}
	cols, rows := 2+r.IntN(2), 2+r.IntN(2)
	large := r.IntN(200) == 0
	if large {
		cols, rows = 6, 6
	}
	g := &Grid{CellM: 1, Cols: cols, Rows: rows, Bound: orb.Bound{Max: orb.Point{float64(cols), float64(rows)}}}
	kind := r.IntN(3)
	tilt := 0.3 * r.Float64()
	for row := range rows {
		for col := range cols {
			z := 10 - tilt*float64(col) - 0.1*float64(row)
			switch kind {
			case 0:
				z += 0.4 * r.Float64()
			case 1:
				z = math.Floor(z*4) / 4
			case 2:
				z += float64(r.IntN(3)) * 0.25
			}
			if r.IntN(20) == 0 {
				z = math.NaN()
			}
			g.Z = append(g.Z, float32(z))
		}
	}
	in.grid = g
	n := 2 + r.IntN(4)
	bed, along := 10+0.2*r.Float64(), 0.0
	for k := range n {
		at := orb.Point{float64(cols) * float64(k) / float64(n), float64(rows) * r.Float64()}
		if k > 0 {
			fall := float64(r.IntN(4)) * 0.125
			bed -= fall
			along += distance(in.creek.At[k-1], at) * (1 + float64(r.IntN(3)))
		}
		in.creek.At, in.creek.BedM, in.creek.AlongM = append(in.creek.At, at), append(in.creek.BedM, bed), append(in.creek.AlongM, along)
	}
	if r.IntN(3) == 0 {
		in.creek.Closed = make([]bool, n)
		for k := range n {
			in.creek.Closed[k] = r.IntN(5) == 0
		}
	}
	in.rules = SupplyRules{DigM: float64(r.IntN(4)) * 0.25, TrestleM: float64(r.IntN(3)) * 0.25, LeastSavingM: -1}
	if r.IntN(2) == 0 {
		in.rules.SlopeMin = 0.02 * float64(r.IntN(5))
	}
	if large {
		in.rules.LengthMaxM = 4 + 1.5*r.Float64() // the number of ways doubles with every half metre
	} else if r.IntN(2) == 0 {
		in.rules.LengthMaxM = 2 + 8*r.Float64()
	}
	if r.IntN(3) == 0 {
		in.rules.Forbidden = make([]bool, len(g.Z))
		for i := range g.Z {
			in.rules.Forbidden[i] = r.IntN(8) == 0
		}
	}
	in.from = r.IntN(n)
	in.grade = SupplyGrade{Slope: 0.2 * r.Float64(), HeadM: in.creek.BedM[in.from] + 0.4*(r.Float64()-0.3)}
	return in
}

// enumerate walks every simple way from the start with the pipe laid as high as
// it can be, and keeps the shortest to each station. It is written from the
// description of Reach alone: its nodes, steps and limits are its own.
func (in *supplyInstance) enumerate() []float64 {
	n := len(in.creek.At)
	best := make([]float64, n)
	for k := range best {
		best[k] = math.Inf(1)
	}
	closedCell := func(c, r int) bool {
		if c < 0 || r < 0 || c >= in.grid.Cols || r >= in.grid.Rows {
			return true
		}
		i := r*in.grid.Cols + c
		return math.IsNaN(float64(in.grid.Z[i])) || in.rules.Forbidden != nil && in.rules.Forbidden[i]
	}
	closedStation := func(k int) bool { return in.creek.Closed != nil && in.creek.Closed[k] }
	if closedStation(in.from) {
		return best
	}
	longest := in.rules.LengthMaxM
	if longest == 0 {
		longest = math.Inf(1)
	}
	t, b, least := in.rules.DigM, in.rules.TrestleM, in.rules.SlopeMin
	z := func(c, r int) float64 { return float64(in.grid.Z[r*in.grid.Cols+c]) }
	// lay gives the highest level of the pipe after a step to ground between
	// two limits.
	lay := func(y, step, length, low, high float64) (float64, bool) {
		y = math.Min(math.Min(y-least*step, high), in.grade.HeadM-in.grade.Slope*length)
		return y, y >= low && length <= longest
	}
	usedStation, usedCell := make([]bool, n), make([]bool, len(in.grid.Z))
	var atStation func(k int, length, y float64)
	var atCell func(c, r int, length, y float64)
	atStation = func(k int, length, y float64) {
		if k != in.from && length < best[k] {
			best[k] = length
		}
		usedStation[k] = true
		defer func() { usedStation[k] = false }()
		if k+1 < n && !closedStation(k+1) && !usedStation[k+1] {
			run := in.creek.AlongM[k+1] - in.creek.AlongM[k]
			bed := in.creek.BedM[k+1]
			if in.creek.BedM[k]-bed >= least*run {
				if to, ok := lay(math.Inf(1), 0, length+run, bed, bed); ok {
					atStation(k+1, length+run, to)
				}
			}
		}
		at := in.creek.At[k]
		c0, r0 := min(int(at[0]), in.grid.Cols-1), min(int(float64(in.grid.Rows)-at[1]), in.grid.Rows-1)
		for r := r0 - 1; r <= r0+1 && !closedCell(c0, r0); r++ {
			for c := c0 - 1; c <= c0+1; c++ {
				if closedCell(c, r) || usedCell[r*in.grid.Cols+c] {
					continue
				}
				step := math.Hypot(distance(at, orb.Point{float64(c) + 0.5, float64(in.grid.Rows-r) - 0.5}), z(c, r)-in.creek.BedM[k])
				if to, ok := lay(y, step, length+step, z(c, r)-t, z(c, r)+b); ok {
					atCell(c, r, length+step, to)
				}
			}
		}
	}
	atCell = func(c, r int, length, y float64) {
		i := r*in.grid.Cols + c
		usedCell[i] = true
		defer func() { usedCell[i] = false }()
		for dr := -2; dr <= 2; dr++ {
			for dc := -2; dc <= 2; dc++ {
				cc, rr := c+dc, r+dr
				if dc*dc+dr*dr != 1 && dc*dc+dr*dr != 2 && dc*dc+dr*dr != 5 || closedCell(cc, rr) || usedCell[rr*in.grid.Cols+cc] {
					continue
				}
				dz := z(cc, rr) - z(c, r)
				switch dc*dc + dr*dr {
				case 2:
					if closedCell(cc, r) && closedCell(c, rr) {
						continue
					}
					fallthrough
				case 1:
					step := math.Sqrt(float64(dc*dc+dr*dr) + dz*dz)
					if to, ok := lay(y, step, length+step, z(cc, rr)-t, z(cc, rr)+b); ok {
						atCell(cc, rr, length+step, to)
					}
				case 5:
					// The cell beside, and the one diagonally on.
					sc, sr := c+dc/2, r+dr/2
					oc, or := c+sign(dc), r+sign(dr)
					if closedCell(sc, sr) || closedCell(oc, or) {
						continue
					}
					mid := (z(sc, sr) + z(oc, or)) / 2
					first := math.Sqrt(1.25 + (mid-z(c, r))*(mid-z(c, r)))
					second := math.Sqrt(1.25 + (z(cc, rr)-mid)*(z(cc, rr)-mid))
					half, ok := lay(y, first, length+first, mid-t, mid+b)
					if !ok {
						continue
					}
					if to, ok := lay(half, second, length+first+second, z(cc, rr)-t, z(cc, rr)+b); ok {
						atCell(cc, rr, length+first+second, to)
					}
				}
			}
		}
		for k := in.from + 1; k < n; k++ {
			if closedStation(k) || usedStation[k] {
				continue
			}
			at := in.creek.At[k]
			c0, r0 := min(int(at[0]), in.grid.Cols-1), min(int(float64(in.grid.Rows)-at[1]), in.grid.Rows-1)
			if closedCell(c0, r0) || c < c0-1 || c > c0+1 || r < r0-1 || r > r0+1 {
				continue
			}
			bed := in.creek.BedM[k]
			step := math.Hypot(distance(at, orb.Point{float64(c) + 0.5, float64(in.grid.Rows-r) - 0.5}), z(c, r)-bed)
			if to, ok := lay(y, step, length+step, bed, bed); ok {
				atStation(k, length+step, to)
			}
		}
	}
	start := math.Min(in.creek.BedM[in.from], in.grade.HeadM)
	atStation(in.from, 0, start)
	return best
}

func sign(v int) int {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}

// The routed supply line is the shortest of all ways, by full enumeration of
// simple paths on random small grids.
func TestRoutedSupplyEqualsFullPathEnumeration(t *testing.T) {
	const seed = 35
	instances := 20000
	if testing.Short() { // the race detector slows the enumeration down by much
		instances = 1000
	}
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	reached, shorter, blocked := 0, 0, 0
	for k := range instances {
		in := randomSupply(r)
		ground, err := NewSupplyGround(t.Context(), in.grid, in.creek, in.rules)
		if err != nil {
			t.Fatal(err)
		}
		got, want := ground.Reach(in.from, in.grade), in.enumerate()
		for s := range want {
			length, ok := got.Length(s)
			if !ok {
				length = math.Inf(1)
			}
			if math.Abs(length-want[s]) > 1e-12*want[s] || ok != !math.IsInf(want[s], 1) {
				t.Fatalf("instance %d, from %d to %d: search %v, enumeration %v\n%+v\n%+v", k, in.from, s, length, want[s], in, in.grid)
			}
			if s <= in.from {
				continue
			}
			switch creek := in.creek.AlongM[s] - in.creek.AlongM[in.from]; {
			case !ok:
				blocked++
			case length < creek-1e-9:
				shorter++
				reached++
			default:
				reached++
			}
		}
	}
	t.Logf("%d instances: %d lines, %d of them shorter than the creek, %d places without", instances, reached, shorter, blocked)
	if shorter < instances/20 || blocked < instances/20 {
		t.Error("too few instances say something")
	}
}
