package dem

import (
	"testing"

	"github.com/paulmach/orb"
)

// A source that has read other windows gives the same surface and describes it
// alike, once it has been told to forget them.
func TestForgetMakesTheNextWindowTheFirst(t *testing.T) {
	path := degrees(10, 46, 1e-5, 1500).make(t, "ground.tif")
	used := open(t, Options{ZUnit: "m"}, path)
	f := site(t, used)
	far := orb.Bound{Min: orb.Point{-300, -300}, Max: orb.Point{-200, -200}}
	_, err := used.Load(t.Context(), f, far)
	must(t, err)
	fresh := open(t, Options{ZUnit: "m"}, path)
	opened := fresh.Infos()
	if low := used.Infos()[0].LowestM; low != low {
		t.Fatal("a window leaves nothing to forget")
	}
	used.Forget()
	same := func(a, b Info) bool {
		for _, p := range []*float64{&a.NoDataShare, &a.LowestM, &a.HighestM, &b.NoDataShare, &b.LowestM, &b.HighestM} {
			if *p != *p {
				*p = -1 // NaN is like NaN here
			}
		}
		return a == b
	}
	if got := used.Infos(); !same(got[0], opened[0]) {
		t.Errorf("after forgetting %+v\nas opened %+v", got[0], opened[0])
	}
	a, err := used.Load(t.Context(), f, around(f, 80))
	must(t, err)
	b, err := fresh.Load(t.Context(), f, around(f, 80))
	must(t, err)
	for _, p := range []orb.Point{{0, 0}, {12.3, -45.6}, {-70, 70}} {
		za, okA := a.At(p)
		zb, okB := b.At(p)
		if za != zb || okA != okB || !okA {
			t.Errorf("at %v %v and %v", p, za, zb)
		}
	}
	if got, want := used.Infos()[0], fresh.Infos()[0]; !same(got, want) {
		t.Errorf("described as %+v\nand as %+v", got, want)
	}
}
