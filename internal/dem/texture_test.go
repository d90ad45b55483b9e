package dem

import (
	"cmp"
	"context"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"

	"route/internal/geodesy"
)

// fineGround are the ground models of the collection with cells of up to
// 2.5 m, as their descriptions say: lidar or a survey, bare earth.
var fineGround = []struct {
	path, unit string
	coarse     bool
}{
	// Stretched between surveyed points, which lie metres apart.
	{"antelope_creek_nd/dem_field_survey_0.1m_ft.tif", "ft", true},
	{"cole_creek_ne/dem_2006_1m_zft.tif", "ft", false},
	{"cole_creek_ne/dem_2010_1m_zft.tif", "ft", false},
	{"gabilan_mesa_ca/dem_1m.tif", "m", false},
	{"ptuj_slovenia/dem_1m.tif", "m", false},
	{"pathologies/as_found/slovenia_nan_nodata_clip.tif", "m", false},
}

// window300 loads a window of 300 m of a raster.
func window300(t testing.TB, s *Source, at geodesy.LonLat) (*Surface, error) {
	t.Helper()
	s.Forget()
	f := frameAt(t, at)
	return s.Load(context.Background(), f, around(f, 150))
}

// somewhere is a random place of a raster.
func somewhere(s *Source, r *rand.Rand) geodesy.LonLat {
	i := s.files[0].info
	return geodesy.LonLat{Lon: i.West + r.Float64()*(i.East-i.West), Lat: i.South + r.Float64()*(i.North-i.South)}
}

// No window of a real ground model is taken for a surface model, or for one
// made from coarser cells, but where it is one; and each window of the surface
// model of the collection is seen.
func TestGroundAndSurfaceModelsAreTold(t *testing.T) {
	const seed, each = 41, 12
	dir := terrainDir(t)
	for _, g := range fineGround {
		t.Run(g.path, func(t *testing.T) {
			r := rand.New(rand.NewPCG(seed, 1))
			s := open(t, Options{ZUnit: g.unit}, filepath.Join(dir, g.path))
			seen, surface, coarse := 0, 0, 0
			for range each {
				w, err := window300(t, s, somewhere(s, r))
				if err != nil || w.VoidShare() > 0.5 {
					continue
				}
				seen++
				for _, f := range w.Findings() {
					switch f.Code {
					case "surface_model":
						surface++
					case "coarser_than_cells":
						coarse++
					}
				}
			}
			t.Logf("seed %d: of %d windows %d look like surface models, %d coarser than their cells", seed, seen, surface, coarse)
			if seen == 0 || surface > 0 || coarse != map[bool]int{true: seen}[g.coarse] {
				t.Errorf("seed %d: %d windows, %d taken for surface models, %d for coarser", seed, seen, surface, coarse)
			}
		})
	}
}

// The surface model of the collection, by its own description one: at least
// four fifths of its windows of 300 m show it, voids and all.
func TestSurfaceModelOfTheCollectionIsSeen(t *testing.T) {
	const seed, each = 42, 12
	r := rand.New(rand.NewPCG(seed, 1))
	s := open(t, Options{ZUnit: "m"}, filepath.Join(terrainDir(t), "pathologies", "as_found", "dsm_not_dtm_compound_egm2008_1m.tif"))
	s.files[0].info.SurfaceModel, s.files[0].model = false, classByCell(1) // its name says it; the heights alone are asked here
	s.files[0].opened = s.files[0].info
	seen, surface := 0, 0
	for range 4 * each {
		w, err := window300(t, s, somewhere(s, r))
		if err != nil || w.VoidShare() > 0.3 {
			continue
		}
		seen++
		for _, f := range w.Findings() {
			if f.Code == "surface_model" {
				surface++
				if !w.Error().ScreeningOnly || !s.files[0].info.ScreeningOnly {
					t.Error("a surface model that is not for screening only")
				}
			}
		}
	}
	t.Logf("seed %d: %d of %d windows", seed, surface, seen)
	if seen < 5 || 10*surface < 8*seen {
		t.Errorf("seed %d: %d of %d windows look like a surface model", seed, surface, seen)
	}
}

// ground is a real ground model of 1 m as cells.
func ground(t *testing.T, path string) (c *cells, cols, rows int) {
	t.Helper()
	s := open(t, Options{ZUnit: "m"}, filepath.Join(terrainDir(t), path))
	f := s.files[0]
	b := &builder{source: s, surface: &Surface{}}
	c, err := b.readWindow(context.Background(), window{file: f, cols: f.cols, rows: f.rows})
	must(t, err)
	return c, f.cols, f.rows
}

// changed makes other cells of each.
func (c *cells) changed(cols int, z func(i, j int, z float64) float64) *cells {
	out := &cells{z64: make([]float64, max(len(c.z32), len(c.z64)))}
	for k := range out.z64 {
		out.z64[k] = z(k%cols, k/cols, c.raw(k))
	}
	return out
}

// trees are the heights of crowns, 4 to 8 m wide and 6 to 20 m high, that
// cover a share of the cells (in the mean, by 1 − exp(−crowns' area)).
func trees(r *rand.Rand, cols, rows int, cover float64) []float64 {
	add := make([]float64, cols*rows)
	for range int(-math.Log(1-cover) * float64(cols*rows) / (math.Pi * 3 * 3)) {
		x, y, radius, h := r.Float64()*float64(cols), r.Float64()*float64(rows), 2+2*r.Float64(), 6+14*r.Float64()
		for j := max(0, int(y-radius)); j <= min(rows-1, int(y+radius)); j++ {
			for i := max(0, int(x-radius)); i <= min(cols-1, int(x+radius)); i++ {
				if d := math.Hypot(float64(i)-x, float64(j)-y) / radius; d < 1 {
					add[j*cols+i] = math.Max(add[j*cols+i], h*(0.6+0.4*math.Sqrt(1-d*d)))
				}
			}
		}
	}
	return add
}

// Trees put on real ground are seen from a cover of a tenth on; ground made
// coarser and stretched again shows by how much; white noise shows its own
// standard deviation.
func TestTextureOnChangedGround(t *testing.T) {
	const seed = 43
	for _, path := range []string{"gabilan_mesa_ca/dem_1m.tif", "ptuj_slovenia/dem_1m.tif"} {
		r := rand.New(rand.NewPCG(seed, 1))
		c, cols, rows := ground(t, path)
		if x := textureOf(c, cols, rows, 1, 1); x.surface(1) || x.detail() != 1 || x.whiteM() > LidarForest.NuggetM {
			t.Errorf("%s as it is: %+v", path, x)
		}
		for _, cover := range []float64{0.1, 0.3, 0.6, 0.9} {
			add := trees(r, cols, rows, cover)
			x := textureOf(c.changed(cols, func(i, j int, z float64) float64 { return z + add[j*cols+i] }), cols, rows, 1, 1)
			t.Logf("seed %d, %s: trees over %.0f %%: %.1f %% stands out", seed, path, 100*cover, 100*x.bumps)
			if !x.surface(1) {
				t.Errorf("seed %d, %s: trees over %.0f %% are not seen: %+v", seed, path, 100*cover, x)
			}
			if x.surface(3) {
				t.Errorf("cells of 3 m cannot show trees one by one")
			}
		}
		for n, least := range map[int]int{4: 4, 10: 8, 30: 16} {
			x := textureOf(c.changed(cols, func(i, j int, _ float64) float64 {
				at := func(i, j int) float64 { return c.raw(min(rows-1, j*n)*cols + min(cols-1, i*n)) }
				u, v, i0, j0 := float64(i%n)/float64(n), float64(j%n)/float64(n), i/n, j/n
				return (1-u)*(1-v)*at(i0, j0) + u*(1-v)*at(i0+1, j0) + (1-u)*v*at(i0, j0+1) + u*v*at(i0+1, j0+1)
			}), cols, rows, 1, 1)
			if got := x.detail(); got < least || got > 2*n {
				t.Errorf("%s stretched from %d m: detail from %d cells on, want %d or a little more (%+v)", path, n, got, least, x)
			}
		}
		x := textureOf(c.changed(cols, func(_, _ int, z float64) float64 { return z + 0.3*r.NormFloat64() }), cols, rows, 1, 1)
		if got := x.whiteM(); math.Abs(got-0.3) > 0.02 {
			t.Errorf("seed %d, %s: noise of 0.3 m is read as %.3f m", seed, path, got)
		}
	}
}

// What the heights show changes the class, and the reason says so; a person's
// own word stands above it.
func TestClassFromTheHeights(t *testing.T) {
	const seed = 44
	r := rand.New(rand.NewPCG(seed, 1))
	rough := make([]float64, 150*150) // a random walk, smoothed by nothing
	for k := range rough {
		rough[k] = 0.15 * r.NormFloat64()
	}
	slope := func(i, j int) float64 { return 500 + 0.2*float64(i) - 0.1*float64(j) + 3*math.Sin(float64(i*j)/4000) }
	for _, k := range []struct {
		name      string
		z         func(i, j int) float64
		class     string
		why       string
		screening bool
		finding   string
	}{
		{"noise", func(i, j int) float64 { return slope(i, j) + rough[150*j+i] }, LidarForest.Class, "noise from cell to cell of 0.15 m", false, ""},
		{"smooth", func(i, j int) float64 { return 500 + 2*math.Sin(float64(i)/10)*math.Cos(float64(j)/10) }, Mixed10.Class, "made from coarser cells", false, "coarser_than_cells"},
		{"steps of ten", func(i, j int) float64 { return 10 * math.Round(slope(i, j)*2/10) }, LidarForest.Class, "steps of 10 m add 2.9 m", true, "screening_only"},
		{"posts", func(i, j int) float64 {
			if i%6 < 3 && j%6 < 3 {
				return slope(i, j) + 5
			}
			return slope(i, j)
		}, LidarForest.Class, "stands in it like trees or roofs", true, "surface_model"},
	} {
		t.Run(k.name, func(t *testing.T) {
			path := utm(150, 150, k.z).make(t, "g.tif")
			s := open(t, Options{ZUnit: "m"}, path)
			surface, _ := load(t, s, 60)
			info := s.Infos()[0]
			if info.AccuracyClass != k.class || info.ScreeningOnly != k.screening || surface.Error().ScreeningOnly != k.screening {
				t.Errorf("seed %d: %s, screening only %v", seed, info.AccuracyClass, info.ScreeningOnly)
			}
			says(t, info.AccuracyWhy, k.why)
			if k.finding != "" {
				has(t, surface.Findings(), k.finding)
			}
			own := LidarOpen
			s = open(t, Options{ZUnit: "m", Error: &own}, path)
			surface, _ = load(t, s, 60)
			if info := s.Infos()[0]; info.AccuracyClass != LidarOpen.Class || info.ScreeningOnly || surface.Error().NuggetM != own.NuggetM {
				t.Errorf("the person's word does not stand: %+v", info)
			}
		})
	}
	wide := ErrorModel{NuggetM: 2.1}
	if info := open(t, Options{ZUnit: "m", Error: &wide}, utm(50, 50, slope).make(t, "g.tif")).Infos()[0]; !info.ScreeningOnly {
		t.Error("heights known to 2.1 m are not for screening only")
	}
}

// The value found is the one that sorting puts there (the standard library's
// sort), with many ties, in order, in reverse and one alone.
func TestSmallestEqualsSorting(t *testing.T) {
	const seed = 47
	r := rand.New(rand.NewPCG(seed, 1))
	for trial := range 20_000 {
		v := make([]float64, 1+r.IntN(60))
		for i := range v {
			v[i] = float64(r.IntN(1 + r.IntN(100)))
		}
		switch trial % 4 {
		case 1:
			slices.Sort(v)
		case 2:
			slices.SortFunc(v, func(a, b float64) int { return cmp.Compare(b, a) })
		}
		k := r.IntN(len(v))
		given := slices.Clone(v)
		got := smallest(v, k)
		if want := slices.Sorted(slices.Values(given))[k]; got != want {
			t.Fatalf("seed %d: number %d of %v is %v, by sorting %v", seed, k, given, got, want)
		}
	}
}

// BenchmarkTexture is a window as large as is looked at.
func BenchmarkTexture(b *testing.B) {
	const n = blockCells * blocksEach
	r := rand.New(rand.NewPCG(1, 1))
	c := &cells{z32: make([]float32, n*n)}
	for k := range c.z32 {
		c.z32[k] = float32(20*math.Sin(float64(k%n)/90) + 0.05*r.NormFloat64())
	}
	for b.Loop() {
		textureOf(c, n, n, 1, 1)
	}
}
