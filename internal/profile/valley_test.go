package profile

import (
	"math"
	"math/rand/v2"

	"github.com/paulmach/orb"
)

// valley is a simulated valley with a known creek, as a raster: a meandering
// incised channel, valley sides, lidar-like noise and, where asked, a road
// embankment without a culvert. It is the terrain of the simulation whose
// figures the tests quote.
type valley struct {
	lengthM   float64 // of the valley, west to east
	slope     float64 // along the creek
	ampM      float64 // of the meanders
	waveM     float64
	depthM    float64
	widthM    float64
	side      float64 // slope of the flood plain up from the channel
	bankM     float64 // embankment height, 0 for none
	bankAtM   float64 // its easting
	noiseM    float64
	smoothM   float64 // amplitude of slow noise
	cellM     float64
	northward float64 // shift
}

func usualValley() valley {
	return valley{lengthM: 400, slope: 0.02, ampM: 12, waveM: 90, depthM: 0.7, widthM: 3, side: 0.04,
		bankM: 2.2, bankAtM: 230, noiseM: 0.03, smoothM: 0.05, cellM: 1}
}

// truth is the thalweg, downstream, from 150 m before the valley's beginning
// to 150 m behind its end.
func (v valley) truth() orb.LineString {
	line := orb.LineString{}
	for e := -150.0; e <= v.lengthM+150; e += 2 {
		line = append(line, orb.Point{e, v.creekNorth(e)})
	}
	return line
}

func (v valley) creekNorth(e float64) float64 {
	return v.northward + v.ampM*math.Sin(2*math.Pi*e/v.waveM) + 0.35*v.ampM*math.Sin(2*math.Pi*e/(2.7*v.waveM)+1)
}

// reach is the truth between the valley's ends.
func (v valley) reach() orb.LineString {
	line := orb.LineString{}
	for _, p := range v.truth() {
		if p[0] >= 0 && p[0] <= v.lengthM {
			line = append(line, p)
		}
	}
	return line
}

const valleyTopM = 500.0

// clean is the raster without noise; each cell holds the mean of 3×3 places
// in it, as a raster made from many returns does. Rasters are kept, since
// most tests want the same valley with other noise.
func (v valley) clean() *rasterGround {
	if g, ok := cleanValleys[v]; ok {
		return g
	}
	a, err := NewAlignment(v.truth(), 0)
	if err != nil {
		panic(err)
	}
	south, north := v.northward-1.4*v.ampM-60, v.northward+1.4*v.ampM+60
	g := newRasterGround(orb.Point{-140, south}, v.cellM, int((v.lengthM+280)/v.cellM), int((north-south)/v.cellM))
	for row := range g.rows {
		for col := range g.cols {
			centre := g.centre(col, row)
			if _, off := a.StationOf(centre); math.Abs(off) > v.widthM+2*v.cellM {
				g.z[row*g.cols+col] = v.height(a, centre) // smooth enough
				continue
			}
			for k := range 9 {
				p := centre
				p[0] += float64(k%3-1) / 3 * v.cellM
				p[1] += float64(k/3-1) / 3 * v.cellM
				g.z[row*g.cols+col] += v.height(a, p) / 9
			}
		}
	}
	cleanValleys[v] = g
	return g
}

var cleanValleys = map[valley]*rasterGround{}

// raster is the surface with noise.
func (v valley) raster(seed uint64) *rasterGround {
	rng := rand.New(rand.NewPCG(seed, 1))
	noise, smooth := v.noiseM, v.smoothM
	v.noiseM, v.smoothM = 0, 0
	clean := v.clean()
	g := *clean
	g.z = make([]float64, len(clean.z))
	ph := rng.Float64() * 7
	for row := range g.rows {
		for col := range g.cols {
			p := g.centre(col, row)
			g.z[row*g.cols+col] = clean.z[row*g.cols+col] + noise*rng.NormFloat64() +
				smooth*math.Sin(p[0]/23+ph)*math.Sin(p[1]/19+2*ph)
		}
	}
	return &g
}

func (v valley) height(a *Alignment, p orb.Point) float64 {
	s, off := a.StationOf(p)
	off = math.Abs(off)
	z := valleyTopM - v.slope*float64(s)
	half := v.widthM / 2
	bed := z + v.side*max(0, off-half) + 0.0008*max(0, off-20)*max(0, off-20)
	if off < half {
		bed -= v.depthM * (1 - math.Pow(off/half, 4))
	}
	if v.bankM > 0 {
		if d := math.Abs(p[0] - v.bankAtM); d < 9 {
			top := z + v.side*max(0, off-half) + v.bankM
			bed = max(bed, min(top, bed+(9-d)*v.bankM/3))
		}
	}
	return bed
}

// waterM is the true bed height on the thalweg at a place.
func (v valley) waterM(a *Alignment, p orb.Point) float64 {
	s, _ := a.StationOf(p)
	return valleyTopM - v.slope*float64(s) - v.depthM
}

// walkTrack simulates a hand-held receiver: fixes every stepM along the line,
// with normally distributed errors of sigmaM in all, of which a part
// wanders slowly.
func walkTrack(line orb.LineString, stepM, sigmaM, wander float64, rng *rand.Rand) orb.LineString {
	a, err := NewAlignment(line, 0)
	if err != nil {
		panic(err)
	}
	out := orb.LineString{}
	var slow [2]float64
	for k := range slow {
		slow[k] = rng.NormFloat64()
	}
	r := math.Exp(-stepM / 50)
	for s := 0.0; s <= a.LengthM(); s += stepM {
		p := a.PointAt(Station(s))
		for k := range slow {
			slow[k] = r*slow[k] + math.Sqrt(1-r*r)*rng.NormFloat64()
			p[k] += sigmaM / math.Sqrt2 * (math.Sqrt(wander)*slow[k] + math.Sqrt(1-wander)*rng.NormFloat64())
		}
		out = append(out, p)
	}
	return out
}

// rasterGround is a raster with bilinear interpolation between cell centres;
// NaN cells are void.
type rasterGround struct {
	origin     orb.Point // centre of cell (0, 0), the south-western
	cellM      float64
	cols, rows int
	z          []float64
	sigmaM     float64
}

func newRasterGround(origin orb.Point, cellM float64, cols, rows int) *rasterGround {
	return &rasterGround{origin: origin, cellM: cellM, cols: cols, rows: rows, z: make([]float64, cols*rows), sigmaM: 0.08}
}

func (g *rasterGround) At(p orb.Point) (float64, bool) {
	x, y := (p[0]-g.origin[0])/g.cellM, (p[1]-g.origin[1])/g.cellM
	i, j := math.Floor(x), math.Floor(y)
	if !(i >= 0 && j >= 0 && int(i) < g.cols-1 && int(j) < g.rows-1) {
		return math.NaN(), false
	}
	x, y = x-i, y-j
	k := int(j)*g.cols + int(i)
	z := (g.z[k]*(1-x)+g.z[k+1]*x)*(1-y) + (g.z[k+g.cols]*(1-x)+g.z[k+g.cols+1]*x)*y
	return z, !math.IsNaN(z)
}

// DiffSigma is one exponential term: σ²(1−exp(−d/30 m))·2.
func (g *rasterGround) DiffSigma(p, q orb.Point) float64 {
	return g.sigmaM * math.Sqrt(2*(1-math.Exp(-distance(p, q)/30)))
}

func (g *rasterGround) centre(col, row int) orb.Point {
	return orb.Point{g.origin[0] + float64(col)*g.cellM, g.origin[1] + float64(row)*g.cellM}
}

// hole makes the cells within radiusM of p void.
func (g *rasterGround) hole(p orb.Point, radiusM float64) {
	for row := range g.rows {
		for col := range g.cols {
			if distance(p, g.centre(col, row)) <= radiusM {
				g.z[row*g.cols+col] = math.NaN()
			}
		}
	}
}
