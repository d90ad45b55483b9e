package plan

import (
	"context"
	"math"
	"testing"

	"github.com/paulmach/orb"

	"route/internal/optimize"
	"route/internal/profile"
	"route/internal/terrain"
)

// A hill of 30 m stands between the creek and the tank, and beside it a saddle
// of 12 m, far round: over the hill the line is short, round it long.
func TestWaysWithLowerCrestsAreFoundAndPriced(t *testing.T) {
	j := flatJob(t, &land{})
	const n = 200
	j.grid = &terrain.Grid{Bound: orb.Bound{Max: orb.Point{n, n}}, CellM: 1, Cols: n, Rows: n}
	for row := range n {
		for col := range n {
			e, north := float64(col)+0.5, n-float64(row)-0.5
			ridge := math.Max(0, 1-math.Abs(e-100)/60)
			crest := 30.0
			switch {
			case north > 150:
				crest = 12
			case north > 110:
				crest = 30 - 18*(north-110)/40
			}
			j.grid.Z = append(j.grid.Z, float32(10+ridge*crest))
		}
	}
	j.tank, j.tankM = orb.Point{180.5, 40.5}, 10
	j.site.Tank.InletAboveGroundM = 2
	j.creek = &profile.Profile{}
	for k := range 10 {
		j.creek.Points = append(j.creek.Points, orb.Point{20.5, 35.5 + float64(k)})
		j.creek.Stations = append(j.creek.Stations, profile.Station(k))
	}
	field, err := terrain.FromTank(context.Background(), j.grid, j.tank, j.laying(j.grid))
	if err != nil {
		t.Fatal(err)
	}
	j.field = field
	if err := j.lowerCrests(); err != nil {
		t.Fatal(err)
	}
	p := optimize.Problem{DeliveryAt: make([]optimize.DeliveryWay, 10), TankInletM: 12}
	j.deliveryWays(j.creek, nil, j.field, p.DeliveryAt)
	j.otherWays(j.creek, nil, &p)
	if len(j.capped) > mostCaps || len(p.DeliveryOthers) < 2 {
		t.Fatalf("%d fields, %d sets of lines", len(j.capped), len(p.DeliveryOthers))
	}
	base := p.DeliveryAt[5]
	if base.CrestM < 38 {
		t.Fatalf("the cheapest way is %+v: it does not climb the hill", base)
	}
	lowest := base
	for set, ways := range p.DeliveryOthers {
		w := ways[5]
		if !w.OK {
			continue
		}
		if w.CrestM > lowest.CrestM-waterOverGround || w.LengthM < base.LengthM {
			t.Errorf("set %d: %+v after %+v", set+1, w, lowest)
		}
		if w.Laying.Minor <= 0 {
			t.Errorf("set %d costs nothing", set+1)
		}
		lowest = w
		route, err := j.fieldOf(set + 1).Route(j.creek.Points[5])
		if err != nil || route.CrestM > w.CrestM+1e-6 {
			t.Errorf("set %d: the line goes over %g m, the way over %g m (%v)", set+1, route.CrestM, w.CrestM, err)
		}
	}
	// The saddle is 22 m high at the middle of its cells.
	if lowest.CrestM > 22.1 || lowest.CrestM < 21.5 {
		t.Errorf("the lowest crest is %g m, the saddle 22 m", lowest.CrestM)
	}
}

// Without ground above the tank's inlet there is nothing to weigh.
func TestNoLowerCrestsAreLookedForBelowTheTank(t *testing.T) {
	j := flatJob(t, &land{})
	j.tank, j.tankM = orb.Point{90.5, 50.5}, 0
	j.creek = &profile.Profile{Points: orb.LineString{{10, 50}, {10, 60}}}
	field, err := terrain.FromTank(context.Background(), j.grid, j.tank, j.laying(j.grid))
	if err != nil {
		t.Fatal(err)
	}
	j.field = field
	if err := j.lowerCrests(); err != nil || len(j.capped) > 0 {
		t.Errorf("%d fields on level ground (%v)", len(j.capped), err)
	}
}
