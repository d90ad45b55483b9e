package profile

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// The fit of the same heights is the same profile: a creek of pools and steps
// with a road fill across it, seed 12. Other heights leave the first profile as
// it was.
func TestRefitOfTheSameHeightsIsTheSame(t *testing.T) {
	c := errorClasses[0]
	_, p, g := c.draw(rand.New(rand.NewPCG(12, 1)))
	for i := 400; i < 420; i++ {
		p.RawM[i] += 3
	}
	p.RawM[700], p.Flags[700] = math.NaN(), p.Flags[700]|FlagVoid
	o := ThalwegOptions{CellM: c.cellM}
	p.fit(g, o.withDefaults())
	q := p.Refit(slices.Clone(p.RawM), o)
	if !slices.Equal(p.ZM, q.ZM) || !slices.Equal(p.Flags, q.Flags) {
		t.Error("another profile of the same heights")
	}
	if q.Flags[410]&FlagBridge == 0 {
		t.Error("the road fill is not seen")
	}
	z := slices.Clone(p.ZM)
	other := slices.Clone(p.RawM)
	for i := range other {
		other[i] += 1
	}
	r := p.Refit(other, o)
	if !slices.Equal(z, p.ZM) || math.Abs(r.ZM[100]-p.ZM[100]-1) > 1e-9 {
		t.Errorf("a metre more everywhere moves the line by %v m", r.ZM[100]-p.ZM[100])
	}
	if length := r.SlopeM[r.Len()-1]; length < float64(r.Stations[r.Len()-1]) {
		t.Errorf("the slope is shorter than the plan: %v m", length)
	}
}

// BenchmarkRefit fits a creek of 1 km again.
func BenchmarkRefit(b *testing.B) {
	for _, c := range errorClasses {
		b.Run(c.name, func(b *testing.B) {
			c.lengthM = 1000
			_, p, g := c.draw(rand.New(rand.NewPCG(12, 1)))
			p.fit(g, ThalwegOptions{CellM: c.cellM}.withDefaults())
			for b.Loop() {
				p.Refit(p.RawM, ThalwegOptions{CellM: c.cellM})
			}
		})
	}
}
