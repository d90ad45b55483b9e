package valley

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// hillside is the country around the creek on a coarse grid, worn down by
// running water until it has ridges, spurs and side gullies that lead to the
// creek.
type hillside struct {
	west, south, cellM float64
	cols, rows         int
	z                  []float64 // row-major from the south-west
	fixed              []bool    // valley floor: holds its height
	rock               []float64 // how fast each node wears, 1 on average
}

// hillsidePlan says how the country is worn down. The model is the
// stream-power law dz/dt = U - K A^m S with hill creep D, solved implicitly
// downstream to upstream (Braun and Willett 2013, from memory).
type hillsidePlan struct {
	seed    uint64
	halfM   float64 // half the side of the square that is modelled
	cellM   float64
	steps   int
	riseM   float64 // uplift a step
	wear    float64 // K a step
	areaExp float64 // m
	creepM2 float64 // D a step
	startIn float64 // slope of the country before it is worn
}

// newHillside wears the country down to the creek.
func newHillside(p hillsidePlan, c *creek) *hillside {
	side := int(math.Round(2*p.halfM/p.cellM)) + 1
	h := &hillside{west: -p.halfM, south: -p.halfM, cellM: p.cellM, cols: side, rows: side}
	h.z = make([]float64, side*side)
	h.fixed = make([]bool, side*side)
	h.rock = make([]float64, side*side)
	for i := range h.rock {
		// Harder and softer rock make spurs of different length.
		h.rock[i] = math.Exp(0.7 * roughness(p.seed+3, h.point(i), 130))
	}
	h.start(p, c)
	flow := newDrainage(h)
	for range p.steps {
		flow.route(h)
		flow.wear(h, p)
		h.creep(p.creepM2)
	}
	return h
}

// point is the place of a node.
func (h *hillside) point(i int) orb.Point {
	return orb.Point{h.west + float64(i%h.cols)*h.cellM, h.south + float64(i/h.cols)*h.cellM}
}

// start sets the valley floor and a rough slope above it.
func (h *hillside) start(p hillsidePlan, c *creek) {
	axis := newSquares(c.axis)
	widest := slices.Max(c.floor)
	for i := range h.z {
		at := h.point(i)
		if k, d := axis.nearest(at, widest); k >= 0 && d < c.floor[k] {
			h.z[i], h.fixed[i] = c.bank[k]+0.02*d, true
			continue
		}
		if station, d, ok := c.nearest(at, 15); ok && d < c.at(c.halfWidth, station)+5 {
			h.z[i], h.fixed[i] = c.at(c.bank, station), true
			continue
		}
		far, foot := math.Inf(1), 0
		for k := 0; k < len(c.points); k += 16 { // 8 m is close enough for a rough slope
			if d2 := sq(c.points[k][0]-at[0]) + sq(c.points[k][1]-at[1]); d2 < far {
				far, foot = d2, k
			}
		}
		rough := roughness(p.seed, at, 40) + 0.5*roughness(p.seed+1, at, 15)
		h.z[i] = c.bank[foot] + p.startIn*math.Sqrt(far)*(1+0.3*roughness(p.seed+2, at, 160)) + 2*rough
	}
}

func sq(v float64) float64 { return v * v }

// drainage is who drains to whom on a hillside.
type drainage struct {
	receiver []int32
	distance []float64
	order    []int32 // every node after its receiver
	areaM2   []float64
	donors   [][8]int32
	count    []uint8
}

func newDrainage(h *hillside) *drainage {
	n := len(h.z)
	return &drainage{
		receiver: make([]int32, n), distance: make([]float64, n), order: make([]int32, 0, n),
		areaM2: make([]float64, n), donors: make([][8]int32, n), count: make([]uint8, n),
	}
}

// route finds each node's steepest way down and orders the nodes upstream.
func (f *drainage) route(h *hillside) {
	clear(f.count)
	f.order = f.order[:0]
	for i := range h.z {
		f.receiver[i], f.distance[i] = f.steepest(h, i)
		if r := f.receiver[i]; r != int32(i) {
			f.donors[r][f.count[r]] = int32(i)
			f.count[r]++
		}
	}
	for i := range h.z {
		if f.receiver[i] == int32(i) {
			f.order = append(f.order, int32(i))
		}
	}
	for k := 0; k < len(f.order); k++ {
		i := f.order[k]
		f.order = append(f.order, f.donors[i][:f.count[i]]...)
	}
	for i := range f.areaM2 {
		f.areaM2[i] = h.cellM * h.cellM
	}
	for k := len(f.order) - 1; k >= 0; k-- {
		if i := f.order[k]; f.receiver[i] != i {
			f.areaM2[f.receiver[i]] += f.areaM2[i]
		}
	}
}

// steepest is the lowest neighbour by slope; a node of the valley floor and a
// pit drain to themselves.
func (f *drainage) steepest(h *hillside, i int) (receiver int32, distanceM float64) {
	receiver = int32(i)
	if h.fixed[i] {
		return receiver, 0
	}
	x, y := i%h.cols, i/h.cols
	steepest := 0.0
	for dy := -1; dy <= 1; dy++ {
		for dx := -1; dx <= 1; dx++ {
			if dx == 0 && dy == 0 || x+dx < 0 || x+dx >= h.cols || y+dy < 0 || y+dy >= h.rows {
				continue
			}
			j := i + dy*h.cols + dx
			d := h.cellM
			if dx != 0 && dy != 0 {
				d *= math.Sqrt2
			}
			if slope := (h.z[i] - h.z[j]) / d; slope > steepest {
				steepest, receiver, distanceM = slope, int32(j), d
			}
		}
	}
	return receiver, distanceM
}

// wear lowers each node towards its receiver and lifts the country once.
func (f *drainage) wear(h *hillside, p hillsidePlan) {
	for _, i := range f.order {
		if h.fixed[i] {
			continue
		}
		h.z[i] += p.riseM
		if r := f.receiver[i]; r != i {
			k := p.wear * h.rock[i] * math.Pow(f.areaM2[i], p.areaExp) / f.distance[i]
			h.z[i] = (h.z[i] + k*h.z[r]) / (1 + k)
		}
	}
}

// creep rounds the hilltops: explicit diffusion in as many parts as stability
// asks for.
func (h *hillside) creep(m2 float64) {
	parts := int(math.Ceil(m2 / (0.2 * h.cellM * h.cellM)))
	share := m2 / float64(parts) / (h.cellM * h.cellM)
	next := make([]float64, len(h.z))
	for range parts {
		for y := range h.rows {
			up, down := min(y+1, h.rows-1)*h.cols, max(y-1, 0)*h.cols
			for x := range h.cols {
				i := y*h.cols + x
				next[i] = h.z[i]
				if h.fixed[i] {
					continue
				}
				left, right := y*h.cols+max(x-1, 0), y*h.cols+min(x+1, h.cols-1)
				next[i] += share * (h.z[left] + h.z[right] + h.z[up+x] + h.z[down+x] - 4*h.z[i])
			}
		}
		h.z, next = next, h.z
	}
}

// at is the height by a cubic B-spline through the grid, which rounds off the
// eight directions of the wear.
func (h *hillside) at(p orb.Point) float64 {
	x, y := (p[0]-h.west)/h.cellM, (p[1]-h.south)/h.cellM
	ix, iy := math.Floor(x), math.Floor(y)
	wx, wy := bspline(x-ix), bspline(y-iy)
	sum := 0.0
	for j, w := range wy {
		row := min(max(int(iy)+j-1, 0), h.rows-1) * h.cols
		part := 0.0
		for i, v := range wx {
			part += v * h.z[row+min(max(int(ix)+i-1, 0), h.cols-1)]
		}
		sum += w * part
	}
	return sum
}

// bspline gives the four weights of a uniform cubic B-spline.
func bspline(t float64) [4]float64 {
	return [4]float64{
		(1 - t) * (1 - t) * (1 - t) / 6,
		(3*t*t*t - 6*t*t + 4) / 6,
		(-3*t*t*t + 3*t*t + 3*t + 1) / 6,
		t * t * t / 6,
	}
}

// roughness is smooth random relief between -1 and 1 whose bumps are about
// sizeM across. It depends on the seed and the place alone.
func roughness(seed uint64, p orb.Point, sizeM float64) float64 {
	x, y := p[0]/sizeM, p[1]/sizeM
	ix, iy := math.Floor(x), math.Floor(y)
	u, v := quintic(x-ix), quintic(y-iy)
	corner := func(dx, dy float64) float64 {
		// Gradient noise: a random slope at each corner.
		h := mix(seed ^ mix(uint64(int64(ix+dx))*0x9e3779b97f4a7c15^mix(uint64(int64(iy+dy)))))
		slope := &slopes[h>>56]
		return slope[0]*(x-ix-dx) + slope[1]*(y-iy-dy)
	}
	low := corner(0, 0) + u*(corner(1, 0)-corner(0, 0))
	high := corner(0, 1) + u*(corner(1, 1)-corner(0, 1))
	return math.Sqrt2 * (low + v*(high-low))
}

// slopes are the directions that a corner may slope in.
var slopes = func() (s [256][2]float64) {
	for i := range s {
		angle := 2 * math.Pi * float64(i) / float64(len(s))
		s[i] = [2]float64{math.Cos(angle), math.Sin(angle)}
	}
	return s
}()

func quintic(t float64) float64 { return t * t * t * (t*(6*t-15) + 10) }

// mix scrambles 64 bits (the finaliser of splitmix64).
func mix(x uint64) uint64 {
	x ^= x >> 30
	x *= 0xbf58476d1ce4e5b9
	x ^= x >> 27
	x *= 0x94d049bb133111eb
	return x ^ x>>31
}
