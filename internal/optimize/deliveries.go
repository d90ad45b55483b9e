package optimize

import "context"

// Where the cheapest delivery line climbs over a hill that a longer one goes
// round, a pump station has several lines to choose from. Everything else in
// the search hangs on the lift of a station, so each further set of lines is
// searched as a site of its own, with the best of the sets before as the one
// to beat. That is exact: the best over all lines is the best of the bests.

// WithDelivery is the problem with one of its sets of delivery lines alone: 0
// for DeliveryAt, then DeliveryOthers.
func (p Problem) WithDelivery(set int) Problem {
	if set > 0 {
		p.DeliveryAt = p.DeliveryOthers[set-1]
	}
	p.DeliveryOthers = nil
	return p
}

// addOthers makes a site for each further set of delivery lines.
func (st *site) addOthers(ctx context.Context, s *Settings) error {
	for k := range st.DeliveryOthers {
		p := st.Problem.WithDelivery(k + 1)
		other, err := newSite(ctx, &p, &Settings{Workers: s.Workers})
		if err != nil {
			return err
		}
		other.set, other.risk = k+1, st.risk
		st.others = append(st.others, other)
	}
	return nil
}

// seek gives the best layout of a bucket over all sets of delivery lines, or
// best if none is better; best may be nil.
func (st *site) seek(ctx context.Context, goal Objective, b bucket, best *found) *found {
	best = st.seekHere(ctx, goal, b, best)
	for _, other := range st.others {
		best = other.seekHere(ctx, goal, b, best)
	}
	return best
}
