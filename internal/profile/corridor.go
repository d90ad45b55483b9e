package profile

import (
	"context"
	"math"

	"github.com/paulmach/orb"
)

// corridor is a raster of the ground near a line, in square tiles that exist
// only where the line passes, so that memory follows the length of the line
// and not the box around it.
type corridor struct {
	cellM      float64
	east       float64 // of the centre of column 0
	north      float64 // of the centre of row 0; rows count northward
	cols, rows int     // in tiles
	tile       []int32 // number of the tile at (row, col), -1 when there is none
	tileCol    []int32
	tileRow    []int32
	z          []float32 // NaN where unknown or further away than rel needs
	rel        []float32 // height above the lowest ground nearby
	off        []float32 // distance to the line in metres, +Inf beyond its reach
	along      []float32 // distance along the line of the nearest point on it
}

const (
	tileShift = 4
	tileSide  = 1 << tileShift
	tileCells = tileSide * tileSide
	tileMask  = tileSide - 1
)

// newCorridor measures the cells within reachM of line, samples g there and
// lowM around, and computes rel with the lowest ground in a square that
// reaches lowM to every side.
func newCorridor(ctx context.Context, g Ground, line orb.LineString, cellM, reachM, lowM float64) (*corridor, error) {
	c := &corridor{cellM: cellM}
	radius := max(1, int(math.Round(lowM/cellM)))
	c.layTiles(line, reachM+float64(radius+1)*cellM)
	if err := c.measureOff(ctx, line, reachM); err != nil {
		return nil, err
	}
	if err := c.sample(ctx, g, radius); err != nil {
		return nil, err
	}
	c.relative(radius)
	return c, nil
}

// layTiles makes the tiles that come within reachM of the line.
func (c *corridor) layTiles(line orb.LineString, reachM float64) {
	b := line.Bound()
	c.east = math.Floor((b.Min[0]-reachM)/c.cellM) * c.cellM
	c.north = math.Floor((b.Min[1]-reachM)/c.cellM) * c.cellM
	tileM := c.cellM * tileSide
	c.cols = int((b.Max[0]+reachM-c.east)/tileM) + 2
	c.rows = int((b.Max[1]+reachM-c.north)/tileM) + 2
	c.tile = make([]int32, c.cols*c.rows)
	for i := range c.tile {
		c.tile[i] = -1
	}
	mark := func(b orb.Bound) {
		for row := c.tileIndex(b.Min[1]-reachM, c.north); row <= c.tileIndex(b.Max[1]+reachM, c.north); row++ {
			for col := c.tileIndex(b.Min[0]-reachM, c.east); col <= c.tileIndex(b.Max[0]+reachM, c.east); col++ {
				c.tile[row*c.cols+col] = 0
			}
		}
	}
	eachPiece(line, reachM, func(p, q orb.Point, _ float64) {
		mark(orb.MultiPoint{p, q}.Bound())
	})
	for i := range c.tile {
		if c.tile[i] < 0 {
			continue
		}
		c.tile[i] = int32(len(c.tileCol))
		c.tileCol = append(c.tileCol, int32(i%c.cols))
		c.tileRow = append(c.tileRow, int32(i/c.cols))
	}
	n := len(c.tileCol) * tileCells
	c.z = make([]float32, n)
	c.rel = make([]float32, n)
	c.off = make([]float32, n)
	c.along = make([]float32, n)
	for i := range c.off {
		c.off[i] = float32(math.Inf(1))
	}
}

func (c *corridor) tileIndex(v, origin float64) int {
	return c.cellIndex(v, origin) >> tileShift
}

func (c *corridor) cellIndex(v, origin float64) int {
	return int(math.Floor((v-origin)/c.cellM + 0.5))
}

// eachPiece cuts the line into pieces of at most pieceM and gives each with
// the distance along the line to its beginning. A line of one point is one
// piece.
func eachPiece(line orb.LineString, pieceM float64, do func(p, q orb.Point, along float64)) {
	if len(line) == 1 {
		do(line[0], line[0], 0)
		return
	}
	along := 0.0
	for i := 1; i < len(line); i++ {
		p, q := line[i-1], line[i]
		d := distance(p, q)
		n := max(1, int(math.Ceil(d/pieceM)))
		for k := range n {
			t0, t1 := float64(k)/float64(n), float64(k+1)/float64(n)
			do(orb.Point{p[0] + t0*(q[0]-p[0]), p[1] + t0*(q[1]-p[1])},
				orb.Point{p[0] + t1*(q[0]-p[0]), p[1] + t1*(q[1]-p[1])}, along+t0*d)
		}
		along += d
	}
}

// measureOff gives every cell within reachM its distance to the line.
func (c *corridor) measureOff(ctx context.Context, line orb.LineString, reachM float64) error {
	var err error
	count := 0
	eachPiece(line, reachM, func(p, q orb.Point, along float64) {
		if count++; count%64 == 0 && err == nil {
			err = ctx.Err()
		}
		if err == nil {
			c.measurePiece(p, q, along, reachM)
		}
	})
	for i, d2 := range c.off {
		c.off[i] = float32(math.Sqrt(float64(d2)))
	}
	return err
}

// measurePiece lowers off, which holds squares here, to the distance from the
// segment pq. Every cell in reach of it has a tile.
func (c *corridor) measurePiece(p, q orb.Point, along, reachM float64) {
	ux, uy := q[0]-p[0], q[1]-p[1]
	l2 := ux*ux + uy*uy
	length, perL2 := math.Sqrt(l2), 0.0
	if l2 > 0 {
		perL2 = 1 / l2
	}
	r2 := float32(reachM * reachM)
	// The segment's disc: all in reach lies within it.
	mx, my, disc := (p[0]+q[0])/2, (p[1]+q[1])/2, reachM+length/2
	for row := c.cellIndex(my-disc, c.north); row <= c.cellIndex(my+disc, c.north); row++ {
		north := c.north + float64(row)*c.cellM
		half := math.Sqrt(max(0, disc*disc-(north-my)*(north-my)))
		vy := north - p[1]
		for col := c.cellIndex(mx-half, c.east); col <= c.cellIndex(mx+half, c.east); col++ {
			vx := c.east + float64(col)*c.cellM - p[0]
			dot := ux*vx + uy*vy
			var d2, t float64
			switch {
			case dot <= 0:
				d2 = vx*vx + vy*vy
			case dot >= l2:
				t = 1
				d2 = (vx-ux)*(vx-ux) + (vy-uy)*(vy-uy)
			default:
				cross := ux*vy - uy*vx
				d2 = cross * cross * perL2
				t = dot * perL2
			}
			if f := float32(d2); f <= r2 {
				i := int(c.tile[(row>>tileShift)*c.cols+col>>tileShift])<<(2*tileShift) | (row&tileMask)<<tileShift | col&tileMask
				if f < c.off[i] {
					c.off[i] = f
					c.along[i] = float32(along + t*length)
				}
			}
		}
	}
}

// index is the number of a cell, or -1 where there is no tile.
func (c *corridor) index(col, row int) int {
	if col < 0 || row < 0 || col >= c.cols<<tileShift || row >= c.rows<<tileShift {
		return -1
	}
	t := c.tile[(row>>tileShift)*c.cols+col>>tileShift]
	if t < 0 {
		return -1
	}
	return int(t)<<(2*tileShift) | (row&tileMask)<<tileShift | col&tileMask
}

// place is the column and row of a cell.
func (c *corridor) place(i int) (col, row int) {
	t := i >> (2 * tileShift)
	return int(c.tileCol[t])<<tileShift | i&tileMask, int(c.tileRow[t])<<tileShift | i>>tileShift&tileMask
}

// centre is the place of a cell in the frame.
func (c *corridor) centre(i int) orb.Point {
	col, row := c.place(i)
	return orb.Point{c.east + float64(col)*c.cellM, c.north + float64(row)*c.cellM}
}

// at is the cell that holds a point, or -1.
func (c *corridor) at(p orb.Point) int {
	return c.index(c.cellIndex(p[0], c.east), c.cellIndex(p[1], c.north))
}

// sample reads the heights of all cells within a square of the given radius
// around a cell that has a distance.
func (c *corridor) sample(ctx context.Context, g Ground, radius int) error {
	nan := float32(math.NaN())
	inf := float32(math.Inf(1))
	near := c.rel // not yet in use
	copy(near, c.off)
	c.slide(near, radius)
	for i := range c.z {
		if i%tileCells == 0 {
			if err := ctx.Err(); err != nil {
				return err
			}
		}
		c.z[i] = nan
		if near[i] == inf {
			continue
		}
		if z, ok := g.At(c.centre(i)); ok {
			c.z[i] = float32(z)
		}
	}
	return nil
}

// relative fills rel.
func (c *corridor) relative(radius int) {
	low := c.rel
	for i, z := range c.z {
		low[i] = z
		if z != z {
			low[i] = float32(math.Inf(1))
		}
	}
	c.slide(low, radius)
	for i, z := range c.z {
		c.rel[i] = z - low[i] // NaN where z is
	}
}

// slide replaces each value by the least in the square around it: a sliding
// minimum along the rows, then along the columns, each in linear time
// whatever the radius.
func (c *corridor) slide(low []float32, radius int) {
	s := newSlidingMin(radius)
	for row := range c.rows {
		for col := 0; col < c.cols; col++ {
			from := col
			for col < c.cols && c.tile[row*c.cols+col] >= 0 {
				col++
			}
			for k := range tileSide {
				s.run((col-from)*tileSide, func(i int) *float32 {
					t := c.tile[row*c.cols+from+i>>tileShift]
					return &low[int(t)<<(2*tileShift)|k<<tileShift|i&tileMask]
				})
			}
		}
	}
	for col := range c.cols {
		for row := 0; row < c.rows; row++ {
			from := row
			for row < c.rows && c.tile[row*c.cols+col] >= 0 {
				row++
			}
			for k := range tileSide {
				s.run((row-from)*tileSide, func(i int) *float32 {
					t := c.tile[(from+i>>tileShift)*c.cols+col]
					return &low[int(t)<<(2*tileShift)|(i&tileMask)<<tileShift|k]
				})
			}
		}
	}
}

// slidingMin replaces values by the least within a radius, with a queue of
// rising values.
type slidingMin struct {
	radius int
	value  []float32
	queue  []int32
}

func newSlidingMin(radius int) *slidingMin { return &slidingMin{radius: radius} }

func (s *slidingMin) run(n int, at func(i int) *float32) {
	s.value = s.value[:0]
	for i := range n {
		s.value = append(s.value, *at(i))
	}
	s.queue = s.queue[:0]
	head := 0
	for i := range n + s.radius {
		if i < n {
			for len(s.queue) > head && s.value[s.queue[len(s.queue)-1]] >= s.value[i] {
				s.queue = s.queue[:len(s.queue)-1]
			}
			s.queue = append(s.queue, int32(i))
		}
		out := i - s.radius
		if out < 0 {
			continue
		}
		if int(s.queue[head]) < out-s.radius {
			head++
		}
		*at(out) = s.value[s.queue[head]]
	}
}
