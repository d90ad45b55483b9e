package optimize

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// Place is one of the places of a layout that can be pinned.
type Place int

// The places of a layout.
const (
	AtIntake Place = iota
	AtBox
	AtStandpipe
	AtPump
)

// of gives the pin of a place.
func (w Place) of(p *Pins) **Pin {
	return [...]**Pin{&p.Intake, &p.Box, &p.Standpipe, &p.Pump}[w]
}

// mask gives the stations at which a place may be chosen.
func (w Place) mask(p *Problem) *[]bool {
	return [...]*[]bool{&p.IntakeAt, &p.BoxAt, &p.StandpipeAt, &p.PumpAt}[w]
}

// NearestPlace finds the station nearest to a pin, along the creek, at which
// the place would do: some layout keeps all limits with the other pins where
// they are, and delivers the demand unless the most water is the objective. ok
// is false where none would. It fails only on ctx.
//
// More stations to choose from never make a problem infeasible, so that the
// least distance within which one does is found by bisection.
func NearestPlace(ctx context.Context, p Problem, which Place) (station int, ok bool, err error) {
	at := *which.of(&p.Pins)
	if !at.given() {
		return 0, false, nil
	}
	order := make([]int, p.Creek.Len())
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(away(&p, a, at.Station), away(&p, b, at.Station)) })
	works := func(from, to int) bool {
		if err == nil {
			ok, err = among(ctx, p, which, order[from:to])
		}
		return ok && err == nil
	}
	if !works(0, len(order)) {
		return 0, false, err
	}
	lo, hi := 0, len(order) // the first hi hold one that would do, the first lo none
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; works(0, mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return order[hi-1], err == nil, err
}

// away is the distance of two stations along the creek.
func away(p *Problem, a, b int) float64 {
	return math.Abs(float64(p.Creek.Stations[a] - p.Creek.Stations[b]))
}

// among says whether some layout has a place at one of some stations.
func among(ctx context.Context, p Problem, which Place, stations []int) (bool, error) {
	*which.of(&p.Pins) = nil
	mask := which.mask(&p)
	allowed := *mask
	if p.BoxAt == nil { // the box keeps the places that it has
		p.BoxAt = make([]bool, p.Creek.Len())
		for k := range p.BoxAt {
			p.BoxAt[k] = p.StandpipeAt == nil || p.StandpipeAt[k]
		}
	}
	if which == AtBox {
		p.Choices.SettlingBox, p.boxAnywhere = []bool{true}, true
		allowed = p.BoxAt
	}
	*mask = make([]bool, p.Creek.Len())
	for _, k := range stations {
		(*mask)[k] = allowed == nil || allowed[k]
	}
	p.mustStand = which == AtStandpipe
	return feasible(ctx, p)
}

// feasible says whether any layout keeps all limits.
func feasible(ctx context.Context, p Problem) (bool, error) {
	st, err := newSite(ctx, &p, &Settings{})
	if err != nil {
		return false, err
	}
	goal := p.Objective
	for _, r := range st.reaches() {
		if st.seek(ctx, goal, bucket{from: r.From, to: r.To, anyClass: true}, nil) != nil {
			return true, nil
		}
	}
	return false, ctx.Err()
}
