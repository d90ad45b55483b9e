package dem

import "math"

// texture is what the heights themselves tell about how they were made.
type texture struct {
	cells int // looked at
	// bendM is the usual bending of the ground over 1, 2, 4, … cells: the
	// normalised median of |z(-L) − 2z(0) + z(L)|, metres.
	bendM [lags]float64
	// bumps is the share of cells in things narrower than twice bumpReachM that
	// stand bumpM or more above the rest, with an edge of edgeM near by.
	bumps float64
}

const (
	lags       = 6   // 1 to 32 cells
	blockCells = 256 // of a block that is looked at, each way
	blocksEach = 3   // blocks across and down
	bumpReachM = 8.0
	bumpM      = 2.0
	edgeM      = 0.75 // bending from cell to cell; a ridge without an edge has less
)

// textureOf looks at up to nine blocks of a window.
func textureOf(c *cells, cols, rows int, scaleM, cellM float64) texture {
	var t texture
	var blocks []grid
	bump, seen := 0, 0
	for _, block := range blocksOf(cols, rows) {
		g := gridOf(c, cols, block, scaleM)
		t.cells += len(g.z)
		up, all := g.standing(int(math.Ceil(bumpReachM / cellM)))
		bump, seen = bump+up, seen+all
		blocks = append(blocks, g)
	}
	bends := make([]float64, 0, 2*t.cells) // each cell along its row and its column
	for k := range t.bendM {
		bends = bends[:0]
		for _, g := range blocks {
			bends = g.bends(1<<k, bends)
		}
		t.bendM[k] = math.NaN()
		if n := len(bends); n > 0 {
			t.bendM[k] = 1.4826 * smallest(bends, n/2)
		}
	}
	if seen > 0 {
		t.bumps = float64(bump) / float64(seen)
	}
	return t
}

// smallest is the k-th smallest of some values without NaN, from 0; it changes
// their order. It is Hoare's FIND (1961, Communications of the ACM 4, 321):
// sorting a million values for their median would take longer than all else
// that is read off a terrain.
func smallest(v []float64, k int) float64 {
	low, high := 0, len(v)-1
	for low < high {
		pivot := middle(v[low], v[(low+high)/2], v[high])
		i, j := low, high
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for pivot < v[j] {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return v[k]
		}
	}
	return v[k]
}

// middle is the median of three.
func middle(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }

// blocksOf spreads blocks evenly over a window.
func blocksOf(cols, rows int) [][4]int {
	along := func(n int) [][2]int {
		if n <= blockCells*blocksEach {
			var out [][2]int
			for from := 0; from < n; from += blockCells {
				out = append(out, [2]int{from, min(n, from+blockCells)})
			}
			return out
		}
		var out [][2]int
		for k := range blocksEach {
			from := (n - blockCells) * k / (blocksEach - 1)
			out = append(out, [2]int{from, from + blockCells})
		}
		return out
	}
	var out [][4]int
	for _, r := range along(rows) {
		for _, c := range along(cols) {
			out = append(out, [4]int{c[0], r[0], c[1] - c[0], r[1] - r[0]})
		}
	}
	return out
}

// grid is a block of heights in metres, NaN where there is none.
type grid struct {
	cols, rows int
	z          []float64
}

func gridOf(c *cells, cols int, block [4]int, scaleM float64) grid {
	g := grid{cols: block[2], rows: block[3]}
	g.z = make([]float64, 0, g.cols*g.rows)
	for j := range g.rows {
		for i := range g.cols {
			g.z = append(g.z, c.raw((block[1]+j)*cols+block[0]+i)*scaleM)
		}
	}
	return g
}

// bends adds how much the ground bends over a lag of cells, along rows and
// columns.
func (g grid) bends(lag int, to []float64) []float64 {
	for j := range g.rows {
		for i := range g.cols {
			k := j*g.cols + i
			if i >= lag && i+lag < g.cols {
				if d := g.z[k-lag] - 2*g.z[k] + g.z[k+lag]; d == d {
					to = append(to, math.Abs(d))
				}
			}
			if j >= lag && j+lag < g.rows {
				if d := g.z[k-lag*g.cols] - 2*g.z[k] + g.z[k+lag*g.cols]; d == d {
					to = append(to, math.Abs(d))
				}
			}
		}
	}
	return to
}

// standing counts the cells that stand above the opening of the surface by
// bumpM: what is narrower than the window (Serra 1982, Image Analysis and
// Mathematical Morphology; the white top-hat). Cells near the edge of the block
// and near voids are left out.
func (g grid) standing(half int) (above, all int) {
	if g.cols <= 4*half+1 || g.rows <= 4*half+1 {
		return 0, 0
	}
	low := g.slid(g.slid(g.z, half, false), half, true)
	edge := g.slid(g.edges(), 2, true)
	for j := 2 * half; j < g.rows-2*half; j++ {
		for i := 2 * half; i < g.cols-2*half; i++ {
			k := j*g.cols + i
			if !finite(low[k], edge[k]) {
				continue
			}
			all++
			if g.z[k]-low[k] >= bumpM && edge[k] >= edgeM {
				above++
			}
		}
	}
	return above, all
}

// edges is how much the ground bends at each cell over one cell.
func (g grid) edges() []float64 {
	out := make([]float64, len(g.z))
	for j := range g.rows {
		for i := range g.cols {
			k := j*g.cols + i
			if i == 0 || j == 0 || i == g.cols-1 || j == g.rows-1 {
				out[k] = math.NaN()
				continue
			}
			out[k] = math.Max(math.Abs(g.z[k-1]-2*g.z[k]+g.z[k+1]), math.Abs(g.z[k-g.cols]-2*g.z[k]+g.z[k+g.cols]))
		}
	}
	return out
}

// slid is the highest (or lowest) value in the square of 2·half+1 cells around
// each cell, NaN where any of them is void or outside.
func (g grid) slid(z []float64, half int, highest bool) []float64 {
	out := make([]float64, len(z))
	line := make([]float64, 0, max(g.cols, g.rows))
	run := func(n int, at func(i int) int, from []float64) {
		line = line[:0]
		for i := range n {
			line = append(line, from[at(i)])
		}
		for i := range n {
			best := math.NaN()
			if i >= half && i+half < n {
				best = line[i-half]
				for _, v := range line[i-half+1 : i+half+1] {
					if v != v || best != best {
						best = math.NaN()
						break
					}
					if (v > best) == highest {
						best = v
					}
				}
			}
			out[at(i)] = best
		}
	}
	for j := range g.rows {
		run(g.cols, func(i int) int { return j*g.cols + i }, z)
	}
	for i := range g.cols {
		run(g.rows, func(j int) int { return j*g.cols + i }, out)
	}
	return out
}

// surfaceShare is the share of narrow high things from which on heights are
// those of a surface model. The six ground models of 2.5 m and finer that it
// was set on have up to 0.2 % in them, as a whole and in windows of 300 m; the
// one surface model has 17 %, its windows 12 to 27 %, and trees put over a tenth
// of real ground make 10 %.
const surfaceShare = 0.04

// surfaceCellM is the coarsest cell at which trees and houses stand out one by
// one; a crag is as narrow as they are at 5 m.
const surfaceCellM = 2.5

// surface says whether trees or roofs stand in the heights.
func (t texture) surface(cellM float64) bool { return cellM <= surfaceCellM && t.bumps >= surfaceShare }

// smoothPower is the power of the lag with which the bending grows on ground
// that is smooth at that lag: 2 on a curve without detail. Real ground models of 1
// to 30 m grow with 0.3 to 1.8 over the first lags; one of them, and one in
// whole metres, with 2.0 to 2.1 over the first lag alone, which is why two lags
// are asked for.
const smoothPower = 1.9

// straightM is the bending that is none: what rounding leaves on the straight
// edges between coarser cells.
const straightM = 0.001

// levelBendM is the bending over the longest lag below which ground is too
// level to say anything.
const levelBendM = 0.02

// detail is the least lag in cells at which the ground shows detail of its
// own: 1 for a raster as fine as its cells, more for one that was made from
// coarser cells.
func (t texture) detail() int {
	if !(t.bendM[lags-1] > levelBendM) {
		return 1
	}
	k := 0
	for k+1 < lags && (t.bendM[k] < straightM || t.bendM[k+1] >= math.Pow(2, smoothPower)*t.bendM[k]) {
		k++
	}
	return 1 << k
}

// whiteM is the noise from cell to cell in metres, where the bending is about
// the same over one and two cells, as that of white noise is: its second
// difference has a variance of 6 times its own. 0 means that the ground's own
// shape hides it.
func (t texture) whiteM() float64 {
	if !(t.bendM[0] > 0 && t.bendM[1] < 1.2*t.bendM[0]) {
		return 0
	}
	return t.bendM[0] / math.Sqrt(6)
}
