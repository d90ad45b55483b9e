package terrain

import "github.com/paulmach/orb"

// Nodes are stored in square tiles, so that a node and its neighbours lie
// close together in memory, and mostly on one page of it, on grids that are
// far larger than the processor's caches.
const (
	tileShift = 5
	tileSide  = 1 << tileShift
	tileCells = tileSide * tileSide
)

// kinds is how many ways a node may lie in its tile: on either of the two
// first or last columns, or within, and the same for rows.
const kinds = 25

// steps holds the index offsets of the 16 neighbours of one kind of node: four
// straight ones, four diagonal ones, eight knight's moves.
type steps struct {
	to [16]int
	// The cells beside a diagonal step, and those that a knight jumps over.
	a, b [16]int
}

// The numbers of the steps of a kind begin here.
const (
	firstDiagonal = 4
	firstKnight   = 8
)

// kindOf gives the kind of each place in a tile.
var kindOf = func() (kind [tileCells]uint8) {
	of := func(i int) uint8 {
		switch {
		case i < 2:
			return uint8(i)
		case i >= tileSide-2:
			return uint8(i - tileSide + 5)
		}
		return 2
	}
	for i := range kind {
		kind[i] = 5*of(i>>tileShift) + of(i%tileSide)
	}
	return kind
}()

// newField lays out the nodes of a grid, all of them never entered.
func newField(grid *Grid, tank orb.Point, price *pricing) *Field {
	f := &Field{grid: grid, tank: tank, wide: grid.Cols + 2*border, high: grid.Rows + 2*border, price: price, known: map[int]way{}}
	f.tiles = (f.wide + tileSide - 1) >> tileShift
	f.nodes = make([]node, f.tiles*((f.high+tileSide-1)>>tileShift)*tileCells)
	f.steps = f.newSteps()
	return f
}

// at gives the node in a column and a row, counted with the border.
func (f *Field) at(x, y int) int {
	return ((y>>tileShift)*f.tiles+x>>tileShift)<<(2*tileShift) | (y&(tileSide-1))<<tileShift | x&(tileSide-1)
}

// columnRow is the inverse of at.
func (f *Field) columnRow(i int) (x, y int) {
	tile := i >> (2 * tileShift)
	return tile%f.tiles<<tileShift | i&(tileSide-1), tile/f.tiles<<tileShift | i>>tileShift&(tileSide-1)
}

// stepsOf gives the steps from a node.
func (f *Field) stepsOf(u int) *steps { return &f.steps[kindOf[u&(tileCells-1)]] }

func (f *Field) newSteps() *[kinds]steps {
	all := &[kinds]steps{}
	// A sample of each kind; the sample tile has tiles all around.
	sample := [5]int{0, 1, 2, tileSide - 2, tileSide - 1}
	for j, y := range sample {
		for i, x := range sample {
			x, y := x+tileSide, y+tileSide
			here := f.at(x, y)
			all[5*j+i] = stepsBy(func(dx, dy int) int { return f.at(x+dx, y+dy) - here })
		}
	}
	return all
}

// stepsBy lists the steps by the index offset of a move.
func stepsBy(at func(dx, dy int) int) (s steps) {
	copy(s.to[:], []int{at(0, -1), at(-1, 0), at(1, 0), at(0, 1)})
	diagonal, knight := firstDiagonal, firstKnight
	add := func(k *int, to, a, b int) {
		s.to[*k], s.a[*k], s.b[*k] = to, a, b
		*k++
	}
	for _, dy := range [2]int{-1, 1} {
		for _, dx := range [2]int{-1, 1} {
			add(&diagonal, at(dx, dy), at(dx, 0), at(0, dy))
			add(&knight, at(2*dx, dy), at(dx, 0), at(dx, dy))
			add(&knight, at(dx, 2*dy), at(0, dy), at(dx, dy))
		}
	}
	return s
}
