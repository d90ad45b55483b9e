package plan

import (
	"context"
	"math"
	"testing"

	"github.com/paulmach/orb"

	"route/internal/catalog"
	"route/internal/quantity"
	"route/internal/terrain"
)

// flatJob is a level square of 100 m with a tank in the east, priced by the
// built-in list for metres.
func flatJob(t *testing.T, l *land) *job {
	t.Helper()
	site := NewSite()
	site.Units = quantity.SI
	j := newJob(context.Background(), site, nil)
	j.plan.Prices = catalog.Default("EUR").In(catalog.Metric)
	j.land, j.routes = l, new(routes)
	j.grid = &terrain.Grid{Bound: orb.Bound{Max: orb.Point{100, 100}}, CellM: 1, Cols: 100, Rows: 100, Z: make([]float32, 10000)}
	if err := j.priceCrossings(); err != nil {
		t.Fatal(err)
	}
	return j
}

// A pipe of 80 m over a road, a fence, an area of garden and 20 m of rock,
// counted by hand with the invented prices of the built-in list: laying 1.50 a
// metre, in rock three times that; the road's own fee 250.00; the fence
// 15.00; the garden's own fee once, though its border is passed twice.
func TestGroundAndCrossingsOfADeliveryLineAreCountedByHand(t *testing.T) {
	upright := func(e float64) orb.LineString { return orb.LineString{{e, -5}, {e, 105}} }
	band := func(west, east float64) orb.Polygon {
		return orb.Polygon{{{west, -5}, {east, -5}, {east, 105}, {west, 105}, {west, -5}}}
	}
	j := flatJob(t, &land{
		grounds: []groundPatch{{class: "rock", area: band(40, 60)}},
		crossings: []crossing{
			{name: "Mill Road", class: "road", fee: "250.00", lines: []orb.LineString{upright(30.2)}},
			{name: "a fence", class: "fence", lines: []orb.LineString{upright(70.3)}},
			{name: "a garden", fee: "30.50", lines: []orb.LineString{orb.LineString(band(75.1, 80.1)[0])}, area: true},
		},
	})
	j.tank = orb.Point{90.5, 50.5}
	field, err := terrain.FromTank(context.Background(), j.grid, j.tank, j.laying(j.grid))
	if err != nil {
		t.Fatal(err)
	}
	route, err := field.Route(orb.Point{10.5, 50.5})
	if err != nil {
		t.Fatal(err)
	}
	layout := j.laidLayout(&route)
	if len(layout.DeliveryLaid) != 2 || math.Abs(layout.DeliveryLaid[0].LengthM-60) > 1e-6 || math.Abs(layout.DeliveryLaid[1].LengthM-20) > 1e-6 || layout.DeliveryLaid[1].Factor != 3 {
		t.Fatalf("laid %+v", layout.DeliveryLaid)
	}
	if len(layout.DeliveryCrossed) != 3 {
		t.Fatalf("crossed %+v", layout.DeliveryCrossed)
	}
	for _, c := range layout.DeliveryCrossed {
		if c.Count != 1 {
			t.Errorf("%s is crossed %d times", c.Name, c.Count)
		}
	}
	sum, err := j.plan.Prices.LayingCost(layout)
	if err != nil {
		t.Fatal(err)
	}
	if want := "475.50"; sum.Decimal() != want { // 60·1.50 + 20·4.50 + 250 + 15 + 30.50
		t.Errorf("the work costs %s, by hand %s", sum.Decimal(), want)
	}
	// Below the frost: 0.8 m and the bed 0.1 m deep, 0.3 m wide, 60 m make
	// 16.2 m³, 17 at 40.00; 20 m in rock 5.4 m³, 6 at 120.00.
	j.site.Laying.FrostDepthM = 0.8
	if sum, err = j.plan.Prices.LayingCost(j.laidLayout(&route)); err != nil || sum.Decimal() != "1875.50" {
		t.Errorf("buried it costs %s (%v), by hand 1875.50", sum.Decimal(), err)
	}
}

// A place on the creek may stand on either bank: the way to the tank pays for
// the creek only where it crosses it elsewhere.
func TestTheCreekIsPaidForOnlyWhereItIsCrossed(t *testing.T) {
	creek := orb.LineString{{20, 100}, {20.4, 60}, {20.2, 40}, {60, 20.3}, {100, 20.3}}
	for _, c := range []struct {
		from, tank orb.Point
		times      int
	}{
		{orb.Point{20.4, 60}, orb.Point{80.5, 70.5}, 0},
		{orb.Point{20.4, 60}, orb.Point{5.5, 60.5}, 0},
		{orb.Point{80, 20.3}, orb.Point{80.5, 5.5}, 0},
		{orb.Point{80, 20.3}, orb.Point{80.5, 80.5}, 0},
		{orb.Point{5, 60}, orb.Point{80.5, 70.5}, 1}, // not on the creek
	} {
		j := flatJob(t, &land{crossings: []crossing{{name: "the creek", class: "creek", source: true, lines: []orb.LineString{creek}}}})
		field, err := terrain.FromTank(context.Background(), j.grid, c.tank, j.laying(j.grid))
		if err != nil {
			t.Fatal(err)
		}
		route, err := field.Route(c.from)
		if err != nil {
			t.Fatal(err)
		}
		if len(route.Crossings) != c.times {
			t.Errorf("from %v to %v the creek is crossed at %v, want %d times", c.from, c.tank, route.Crossings, c.times)
		}
		straight := math.Hypot(c.from[0]-c.tank[0], c.from[1]-c.tank[1])
		if route.LengthM > straight*1.01 {
			t.Errorf("from %v to %v: %g m, straight %g m", c.from, c.tank, route.LengthM, straight)
		}
	}
}
