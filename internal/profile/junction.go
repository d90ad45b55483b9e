package profile

import "github.com/paulmach/orb"

// flagGaps marks the stations that lie beside a gap of the walked track.
func (t *thalweg) flagGaps() {
	if len(t.walk.gaps) == 0 {
		return
	}
	for i, at := range t.p.Points {
		cell := t.near.at(at)
		if cell < 0 {
			continue
		}
		along := float64(t.near.along[cell])
		for _, g := range t.walk.gaps {
			if along > g.fromM && along < g.toM {
				t.p.Flags[i] |= FlagGap
			}
		}
	}
}

// flagJunctions marks stations beside which a second low line runs through
// the corridor: across the flow there is ground about as low as the creek,
// apart from the creek, behind ground that stands clearly higher, and this
// goes on for a while.
func (t *thalweg) flagJunctions() {
	const (
		ridgeM  = 0.5 // between the two lines
		aboveM  = 0.5 // of the second line over the first
		apartM  = 4   // least distance between them
		alongM  = 15  // least length
		everyM  = 2.5
		withinC = 2 // cells around the path that belong to the creek itself
	)
	p, c := t.p, t.near
	if c.cellM > apartM {
		return // such cells do not show two channels in one corridor
	}
	own := c.ownCells(p, withinC)
	stride := max(1, int(everyM/stepOf(p.Stations)))
	hit := make([]Flag, p.Len())
	for i := 0; i < p.Len(); i += stride {
		dir := p.Alignment.DirectionAt(p.Stations[i], 5)
		second := false
		for _, side := range [2]float64{-1, 1} {
			crest, left := p.ZM[i], false
			for d := c.cellM; d < t.o.corridorM() && !second; d += c.cellM {
				q := orb.Point{p.Points[i][0] + side*dir[1]*d, p.Points[i][1] - side*dir[0]*d}
				cell := c.at(q)
				if cell < 0 || c.z[cell] != c.z[cell] || float64(c.off[cell]) > t.o.corridorM() || left && own[cell] {
					break
				}
				if own[cell] {
					continue
				}
				left = true
				z := float64(c.z[cell])
				crest = max(crest, z)
				second = d >= apartM && z < p.ZM[i]+aboveM && crest > z+ridgeM && crest > p.ZM[i]+ridgeM
			}
		}
		if second {
			for k := i; k < min(i+stride, p.Len()); k++ {
				hit[k] = FlagJunction
			}
		}
	}
	for _, r := range runs(hit, FlagJunction) {
		if p.span(r) >= alongM {
			p.mark([]reach{r}, FlagJunction)
		}
	}
}

// ownCells marks the cells near the thalweg, so that a bend that comes back
// is not taken for a second creek.
func (c *corridor) ownCells(p *Profile, within int) []bool {
	own := make([]bool, len(c.z))
	for _, at := range p.Points {
		col, row := c.cellIndex(at[0], c.east), c.cellIndex(at[1], c.north)
		for dr := -within; dr <= within; dr++ {
			for dc := -within; dc <= within; dc++ {
				if i := c.index(col+dc, row+dr); i >= 0 {
					own[i] = true
				}
			}
		}
	}
	return own
}
