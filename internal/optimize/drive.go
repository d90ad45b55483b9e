package optimize

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// pairs lists for every pump station the stations upstream of it from which a
// straight drive pipe of allowed length falls to it. A drive pipe runs from the
// water line at its head to the waste valve outlet.
//
// A chord no longer than the greatest length has both ends in one cell of that
// size or in neighbouring ones, so a look at nine cells of a spatial hash finds
// all of them, however the creek meanders. (Along a meandering creek the heads
// within reach of a pump are not one interval of stations.)
type pairs struct {
	from  []int32 // heads of pump p are from[start[p]:start[p+1]], upstream first
	start []int32
}

// driveSite is what decides where a drive pipe fits.
type driveSite struct {
	at                   []orb.Point
	z, outlet            []float64 // water line; waste valve outlet of a pump there
	lengthMin, lengthMax float64
	pumpOK               []bool // nil allows all
}

// length of the drive pipe from s to p in space.
func (d *driveSite) length(s, p int) float64 { return math.Sqrt(d.lengthSquared(s, p)) }

func (d *driveSite) lengthSquared(s, p int) float64 {
	dx, dy, dz := d.at[s][0]-d.at[p][0], d.at[s][1]-d.at[p][1], d.z[s]-d.outlet[p]
	return float64(dx*dx) + float64(dy*dy) + float64(dz*dz)
}

// fits says whether the drive pipe falls and is neither too long nor too short.
func (d *driveSite) fits(s, p int) bool {
	if !(d.outlet[p] < d.z[s]) {
		return false
	}
	l2 := d.lengthSquared(s, p)
	return l2 >= d.lengthMin*d.lengthMin && l2 <= d.lengthMax*d.lengthMax
}

// cell is a square of the spatial hash.
type cell struct{ x, y int32 }

// pairs finds all pairs: O(n + k) for k stations in neighbouring cells.
func (d *driveSite) pairs() pairs {
	n := len(d.z)
	cells, members := d.hash()
	list := pairs{start: make([]int32, n+1)}
	var found []int32
	for p := range n {
		if d.pumpOK == nil || d.pumpOK[p] {
			found = found[:0]
			c := d.cellOf(p)
			for dx := int32(-1); dx <= 1; dx++ {
				for dy := int32(-1); dy <= 1; dy++ {
					for _, s := range members[cells[cell{c.x + dx, c.y + dy}]] {
						if int(s) >= p {
							break
						}
						if d.fits(int(s), p) {
							found = append(found, s)
						}
					}
				}
			}
			slices.Sort(found)
			list.from = append(list.from, found...)
		}
		list.start[p+1] = int32(len(list.from))
	}
	return list
}

func (d *driveSite) cellOf(k int) cell {
	return cell{int32(math.Floor(d.at[k][0] / d.lengthMax)), int32(math.Floor(d.at[k][1] / d.lengthMax))}
}

// hash sorts the stations into cells; members[0] is empty and stands for the
// cells without any.
func (d *driveSite) hash() (map[cell]int, [][]int32) {
	cells, members := map[cell]int{}, [][]int32{nil}
	for k := range d.z {
		c := d.cellOf(k)
		i, ok := cells[c]
		if !ok {
			i = len(members)
			cells[c] = i
			members = append(members, nil)
		}
		members[i] = append(members[i], int32(k))
	}
	return cells, members
}

// heads of a pump.
func (p *pairs) heads(pump int) []int32 { return p.from[p.start[pump]:p.start[pump+1]] }
