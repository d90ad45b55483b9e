package terrain

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"
)

// meadow is a creek that winds through a plain that falls evenly to the east,
// rough by some centimetres, the creek's bed cut into it.
func meadow(r *rand.Rand, rough float64) (*Grid, SupplyCreek) {
	const cols, rows, fall = 160, 60, 0.02
	g := &Grid{CellM: 1, Cols: cols, Rows: rows, Bound: orb.Bound{Max: orb.Point{cols, rows}}}
	for row := range rows {
		for col := range cols {
			g.Z = append(g.Z, float32(50-fall*float64(col)+rough*(r.Float64()-0.5)+0*float64(row)))
		}
	}
	var c SupplyCreek
	length := 0.0
	for k := 0; ; k++ {
		x := 5 + float64(k)*0.5
		if x > cols-5 {
			return g, c
		}
		at := orb.Point{x, rows/2 + 12*math.Sin(2*math.Pi*x/50)}
		if k > 0 {
			length += distance(c.At[k-1], at)
		}
		c.At, c.AlongM, c.BedM = append(c.At, at), append(c.AlongM, length), append(c.BedM, 49.6-fall*x)
	}
}

// A laid line is no longer than the way over the grid, falls by the least
// slope, stays within the limits of digging and trestles and below the grade
// line, and enters no forbidden cell. Held against the ground itself at every
// vertex, and half-way between.
func TestLaidSupplyLinesKeepTheirLimits(t *testing.T) {
	const seed = 51
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	beside, pulled := 0, 0
	for k := range 8 {
		g, c := meadow(r, 0.2)
		rules := SupplyRules{DigM: 0.6, TrestleM: 0.3, LengthMaxM: 150, LeastSavingM: 2, SlopeMin: 0.002 * float64(k%3), CutsOnly: k%2 == 1}
		rules.Forbidden = make([]bool, len(g.Z))
		for range 6 { // ponds
			x, y := r.IntN(g.Cols-8), r.IntN(g.Rows-8)
			for dy := range 6 {
				for dx := range 6 {
					rules.Forbidden[(y+dy)*g.Cols+x+dx] = true
				}
			}
		}
		ground, err := NewSupplyGround(t.Context(), g, c, rules)
		if err != nil {
			t.Fatal(err)
		}
		from := r.IntN(len(c.At) / 4)
		grade := SupplyGrade{Slope: 0.012 * r.Float64(), HeadM: c.BedM[from] + 0.1*r.Float64()}
		reach := ground.Reach(from, grade)
		for to := from + 1; to <= reach.End(); to += 17 {
			length, ok := reach.Length(to)
			if !ok {
				continue
			}
			line := ground.Line(reach, to, grade)
			if line.LengthM > length*(1+1e-12) {
				t.Fatalf("line %g m, over the grid %g m", line.LengthM, length)
			}
			if line.LengthM < length-1e-9 {
				pulled++
			}
			for i := range line.Line {
				if line.InvertM[i] > grade.HeadM-grade.Slope*line.AlongM[i]+1e-9 && i > 0 {
					t.Fatalf("instance %d: invert %g above the grade line %g", k, line.InvertM[i], grade.HeadM-grade.Slope*line.AlongM[i])
				}
				if i > 0 {
					step := line.AlongM[i] - line.AlongM[i-1]
					if fall := line.InvertM[i-1] - line.InvertM[i]; fall < rules.SlopeMin*step-1e-9 {
						t.Fatalf("instance %d: falls %g over %g", k, fall, step)
					}
				}
				if line.Station[i] >= 0 {
					if line.InvertM[i] != c.BedM[line.Station[i]] {
						t.Fatalf("instance %d: off the bed by %g", k, line.InvertM[i]-c.BedM[line.Station[i]])
					}
					continue
				}
				beside++
				col, row, _ := g.Cell(line.Line[i])
				if rules.Forbidden[row*g.Cols+col] {
					t.Fatalf("instance %d: on forbidden land at %v", k, line.Line[i])
				}
				bank := false
				for s := range c.At {
					bank = bank || distance(c.At[s], line.Line[i]) < 1.6
				}
				if off := line.InvertM[i] - ground.heightAt(line.Line[i]); !bank && (off < -rules.DigM-1e-9 || off > rules.TrestleM+1e-9) {
					t.Fatalf("instance %d: %g m off the ground", k, off)
				}
			}
		}
	}
	if beside < 200 || pulled < 5 {
		t.Errorf("%d vertices beside the creek, %d lines pulled straight: too few say something", beside, pulled)
	}
}

// On even ground the finished line between two stations is as short as the
// straight one, whatever its direction: no steps of the grid are left in it.
func TestSupplyLinesDoNotStairStep(t *testing.T) {
	g := &Grid{CellM: 1, Cols: 60, Rows: 60, Bound: orb.Bound{Max: orb.Point{60, 60}}, Z: make([]float32, 3600)}
	for degrees := 3.0; degrees < 90; degrees += 7 {
		sin, cos := math.Sincos(degrees * math.Pi / 180)
		a, b := orb.Point{4, 4}, orb.Point{4 + 50*cos, 4 + 50*sin}
		c := SupplyCreek{At: []orb.Point{a, b}, BedM: []float64{-0.2, -0.3}, AlongM: []float64{0, 400}}
		ground, err := NewSupplyGround(t.Context(), g, c, SupplyRules{DigM: 0.6, LeastSavingM: -1})
		if err != nil {
			t.Fatal(err)
		}
		grade := SupplyGrade{HeadM: 1}
		reach := ground.Reach(0, grade)
		stepped, _ := reach.Length(1)
		line := ground.Line(reach, 1, grade)
		// Closed form: 50 m, and 0.1 m of fall.
		if straight := math.Hypot(50, 0.1); line.LengthM > 1.002*straight || stepped < straight {
			t.Errorf("at %g°: %g m over the grid, %g m laid, straight %g m", degrees, stepped, line.LengthM, straight)
		}
	}
}

// Leaving ground out of the search leaves out no line that saves as much as is
// asked for: with all ground looked at, every line that is so much shorter than
// the creek has the same length.
func TestNarrowedGroundKeepsWhatSaves(t *testing.T) {
	const seed = 52
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	saved := 0
	for k := range 12 {
		g, c := meadow(r, 0.3)
		thin := SupplyCreek{}
		for s := 0; s < len(c.At); s += 4 {
			thin.At, thin.BedM, thin.AlongM = append(thin.At, c.At[s]), append(thin.BedM, c.BedM[s]), append(thin.AlongM, c.AlongM[s])
		}
		rules := SupplyRules{DigM: 0.5, TrestleM: 0.2, LengthMaxM: 120}
		rules.LeastSavingM = 6 * r.Float64()
		narrow, err := NewSupplyGround(t.Context(), g, thin, rules)
		if err != nil {
			t.Fatal(err)
		}
		least := rules.LeastSavingM
		rules.LeastSavingM = -1
		all, err := NewSupplyGround(t.Context(), g, thin, rules)
		if err != nil {
			t.Fatal(err)
		}
		from := r.IntN(len(thin.At) / 2)
		grade := SupplyGrade{Slope: 0.015 * r.Float64(), HeadM: thin.BedM[from] + 0.2*r.Float64()}
		got, want := narrow.Reach(from, grade), all.Reach(from, grade)
		for to := from + 1; to <= want.End(); to++ {
			a, okA := got.Length(to)
			b, okB := want.Length(to)
			if okA && (!okB || a < b-1e-9) {
				t.Fatalf("instance %d: %g m with less ground, %g m with all", k, a, b)
			}
			if okB && b <= thin.AlongM[to]-thin.AlongM[from]-least-1e-9 {
				saved++
				if !okA || math.Abs(a-b) > 1e-9 {
					t.Fatalf("instance %d, %d to %d: %g m with less ground, %g m with all", k, from, to, a, b)
				}
			}
		}
	}
	if saved < 100 {
		t.Errorf("%d lines save: too few say something", saved)
	}
}

// Over stations and straight cuts alone the line found is the shortest of all
// ways, by enumeration; each cut is laid by hand again, in steps of its own.
func TestCutsEqualEnumeration(t *testing.T) {
	const seed, instances = 53, 3000
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	shorter, lines := 0, 0
	for k := range instances {
		in := randomSupply(r)
		in.rules.CutsOnly, in.rules.SlopeMin = true, 0
		ground, err := NewSupplyGround(t.Context(), in.grid, in.creek, in.rules)
		if err != nil {
			t.Fatal(err)
		}
		n := len(in.creek.At)
		best := make([]float64, n)
		for s := range best {
			best[s] = math.Inf(1)
		}
		longest := in.rules.LengthMaxM
		if longest == 0 {
			longest = math.Inf(1)
		}
		closed := func(s int) bool { return in.creek.Closed != nil && in.creek.Closed[s] }
		below := func(level, length float64) bool {
			return level <= in.grade.HeadM-in.grade.Slope*length && length <= longest
		}
		var walk func(s int, length float64)
		walk = func(s int, length float64) {
			if in.creek.AlongM[s]-in.creek.AlongM[in.from] > 4*longest {
				return
			}
			if s != in.from {
				best[s] = math.Min(best[s], length)
			}
			for to := s + 1; to < n; to++ {
				if closed(to) {
					continue
				}
				if run := in.creek.AlongM[to] - in.creek.AlongM[s]; to == s+1 && below(in.creek.BedM[to], length+run) {
					walk(to, length+run)
				}
				flat := distance(in.creek.At[s], in.creek.At[to])
				chord := math.Hypot(flat, in.creek.BedM[s]-in.creek.BedM[to])
				along := in.creek.AlongM[to] - in.creek.AlongM[s]
				for c := s; c < to; c++ { // a way round a closed stretch may be twice as long
					if closed(c) || closed(c+1) {
						along += in.creek.AlongM[c+1] - in.creek.AlongM[c]
					}
				}
				ok := !in.crossesForbidden(in.creek.At[s], in.creek.At[to]) && chord <= along && in.creek.AlongM[to]-in.creek.AlongM[s] <= 4*longest && below(in.creek.BedM[to], length+chord)
				y := in.creek.BedM[s]
				steps := math.Max(2, math.Ceil(flat/0.5))
				for i := 1.0; i < steps && ok; i++ {
					x := in.creek.At[s][0] + i/steps*(in.creek.At[to][0]-in.creek.At[s][0])
					z := in.creek.At[s][1] + i/steps*(in.creek.At[to][1]-in.creek.At[s][1])
					col, row, inside := in.grid.Cell(orb.Point{x, z})
					cell := row*in.grid.Cols + col
					if !inside || math.IsNaN(float64(in.grid.Z[cell])) {
						ok = false
						break
					}
					if distance(orb.Point{x, z}, in.creek.At[s]) < 1.5 || distance(orb.Point{x, z}, in.creek.At[to]) < 1.5 {
						continue // the bank
					}
					h := ground.heightAt(orb.Point{x, z})
					y = math.Min(y, h+in.rules.TrestleM)
					ok = y >= h-in.rules.DigM && below(h-in.rules.DigM, length+i/steps*chord)
				}
				if ok && y >= in.creek.BedM[to] {
					walk(to, length+chord)
				}
			}
		}
		if !closed(in.from) {
			walk(in.from, 0)
		}
		got := ground.Reach(in.from, in.grade)
		for s := range best {
			length, ok := got.Length(s)
			if ok != !math.IsInf(best[s], 1) || ok && math.Abs(length-best[s]) > 1e-9 {
				t.Fatalf("instance %d, %d to %d: %g (%v), by enumeration %g\n%+v", k, in.from, s, length, ok, best[s], in)
			}
			if ok {
				lines++
				if length < in.creek.AlongM[s]-in.creek.AlongM[in.from]-1e-9 {
					shorter++
				}
			}
		}
	}
	t.Logf("%d lines, %d shorter than the creek", lines, shorter)
	if shorter < 300 {
		t.Error("too few instances say something")
	}
}

// crossesForbidden clips a segment to every forbidden cell (Liang and Barsky
// 1984).
func (in *supplyInstance) crossesForbidden(a, b orb.Point) bool {
	for i, forbidden := range in.rules.Forbidden {
		if !forbidden {
			continue
		}
		c := in.grid.Centre(i%in.grid.Cols, i/in.grid.Cols)
		from, to := 0.0, 1.0
		for axis := range 2 {
			d := b[axis] - a[axis]
			low, high := (c[axis]-0.5-a[axis])/d, (c[axis]+0.5-a[axis])/d
			from, to = math.Max(from, math.Min(low, high)), math.Min(to, math.Max(low, high))
		}
		if to > from {
			return true
		}
	}
	return false
}
