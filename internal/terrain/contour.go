package terrain

import (
	"math"
	"sort"

	"github.com/paulmach/orb"
)

// Contour is a line of equal height.
type Contour struct {
	LevelM float64
	Line   orb.LineString // first and last point are the same when it is closed
	Closed bool
}

// Contours draws the lines of equal height at whole multiples of the interval,
// between the cells' middles by marching squares, joined to lines as long as
// they go. They end at the edge and at gaps. Levels come from low to high, and
// within a level lines from north to south. A height exactly on a level counts
// as above it. The interval must be above 0.
func Contours(grid *Grid, intervalM float64) []Contour {
	if !(intervalM > 0) {
		panic("terrain: the contour interval must be above 0")
	}
	squares := squaresByLevel(grid, intervalM)
	levels := make([]int, 0, len(squares))
	for level := range squares {
		levels = append(levels, level)
	}
	sort.Ints(levels)
	var list []Contour
	for _, level := range levels {
		list = append(list, contoursAt(grid, float64(level)*intervalM, squares[level])...)
	}
	return list
}

// squaresByLevel lists, for every level, the squares between four middles that
// it passes through. A square goes by the index of its north-western cell.
func squaresByLevel(g *Grid, intervalM float64) map[int][]int {
	squares := map[int][]int{}
	for row := 0; row+1 < g.Rows; row++ {
		for col := 0; col+1 < g.Cols; col++ {
			i := row*g.Cols + col
			a, b, c, d := g.Z[i], g.Z[i+1], g.Z[i+g.Cols], g.Z[i+g.Cols+1]
			low, high := float64(min(a, b, c, d)), float64(max(a, b, c, d))
			if math.IsNaN(low) || math.IsInf(low, 0) || math.IsInf(high, 0) {
				continue
			}
			// Levels above the lowest corner, up to the highest.
			for k := int(math.Floor(low/intervalM)) + 1; float64(k)*intervalM <= high; k++ {
				squares[k] = append(squares[k], i)
			}
		}
	}
	return squares
}

// An edge of a square joins two neighbouring middles: it is numbered 2i from
// cell i to the east, and 2i+1 from cell i to the south.

// pieces gives the edges that a level enters and leaves a square by, in pairs.
func pieces(g *Grid, i int, level float64, pairs [][2]int) [][2]int {
	north, west, east, south := 2*i, 2*i+1, 2*(i+1)+1, 2*(i+g.Cols)
	z := [4]float64{float64(g.Z[i]), float64(g.Z[i+1]), float64(g.Z[i+g.Cols+1]), float64(g.Z[i+g.Cols])} // clockwise from north-west
	above := 0
	for k, h := range z {
		if h >= level {
			above |= 1 << k
		}
	}
	switch above {
	case 0b0001, 0b1110:
		return append(pairs, [2]int{north, west})
	case 0b0010, 0b1101:
		return append(pairs, [2]int{north, east})
	case 0b0100, 0b1011:
		return append(pairs, [2]int{south, east})
	case 0b1000, 0b0111:
		return append(pairs, [2]int{south, west})
	case 0b0011, 0b1100:
		return append(pairs, [2]int{west, east})
	case 0b0110, 0b1001:
		return append(pairs, [2]int{north, south})
	case 0b0101, 0b1010:
		// A saddle: the mean height says which corners hang together.
		joined := (z[0]+z[1]+z[2]+z[3])/4 >= level
		if joined == (above == 0b0101) {
			return append(pairs, [2]int{north, east}, [2]int{south, west})
		}
		return append(pairs, [2]int{north, west}, [2]int{south, east})
	}
	return pairs
}

// contoursAt joins the pieces of one level.
func contoursAt(g *Grid, level float64, squares []int) []Contour {
	var all [][2]int
	for _, i := range squares {
		all = pieces(g, i, level, all)
	}
	// The one or two pieces that meet on an edge; −1 for none.
	at := make(map[int][2]int, len(all)+1)
	for n, piece := range all {
		for _, edge := range piece {
			if p, met := at[edge]; met {
				at[edge] = [2]int{p[0], n}
			} else {
				at[edge] = [2]int{n, -1}
			}
		}
	}
	used := make([]bool, len(all))
	follow := func(n, edge int) Contour {
		c := Contour{LevelM: level, Line: orb.LineString{crossingOf(g, edge, level)}}
		first := edge
		for n >= 0 && !used[n] {
			used[n] = true
			edge = all[n][0] + all[n][1] - edge // the other one
			c.Line = append(c.Line, crossingOf(g, edge, level))
			if next := at[edge]; next[0] == n {
				n = next[1]
			} else {
				n = next[0]
			}
		}
		c.Closed = edge == first
		return c
	}
	var list []Contour
	// Open lines first, from their ends.
	for n, piece := range all {
		for _, edge := range piece {
			if !used[n] && at[edge][1] < 0 {
				list = append(list, follow(n, edge))
			}
		}
	}
	for n, piece := range all {
		if !used[n] {
			list = append(list, follow(n, piece[0]))
		}
	}
	return list
}

// crossingOf is where a level crosses an edge.
func crossingOf(g *Grid, edge int, level float64) orb.Point {
	i := edge / 2
	col, row := i%g.Cols, i/g.Cols
	p, q, j := g.Centre(col, row), orb.Point{}, i+1
	if edge%2 == 0 {
		q = g.Centre(col+1, row)
	} else {
		q, j = g.Centre(col, row+1), i+g.Cols
	}
	a, b := float64(g.Z[i]), float64(g.Z[j])
	t := (level - a) / (b - a)
	return orb.Point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])}
}
