package optimize

import (
	"context"
	"slices"
)

// Front is the least cost for each of some demands (m³/s): what more water
// costs. Each entry is the cheapest layout that delivers its demand, found by
// the exact search with that demand as the constraint (the epsilon-constraint
// method: Haimes, Lasdon & Wismer 1971, IEEE Trans. SMC 1, 296–297); layouts
// that are the cheapest for several demands are listed once, under the greatest
// of them. So the front is exact on its grid of demands, and between two of
// them no layout is cheaper than the lower nor delivers more than the higher
// for its money. Demands that no layout delivers have no entry. It fails only
// on ctx.
func Front(ctx context.Context, p Problem, s *Settings, demands []float64) ([]FrontPoint, error) {
	if s == nil {
		s = &Settings{}
	}
	p.Objective = LeastCost
	st, err := newSite(ctx, &p, s)
	if err != nil {
		return nil, err
	}
	demands = slices.Clone(demands)
	slices.Sort(demands)
	demands = slices.Compact(demands)
	reaches := st.reaches()
	best := make([]*found, len(demands))
	err = st.each(ctx, len(demands), func(k int) {
		level := st.demanding(demands[k])
		for _, r := range reaches {
			best[k] = level.seek(ctx, LeastCost, bucket{from: r.From, to: r.To, anyClass: true}, best[k])
		}
	})
	if err != nil {
		return nil, err
	}
	var front []FrontPoint
	for k, f := range best {
		if f == nil {
			continue
		}
		if n := len(front) - 1; n >= 0 && f.cost == best[front[n].level].cost {
			front = front[:n] // the one before costs as much and delivers no more
		}
		front = append(front, FrontPoint{Demand: demands[k], Candidate: st.candidate(f, nil), level: k})
	}
	return front, nil
}

// FrontPoint is the cheapest layout for a demand.
type FrontPoint struct {
	Demand    float64 // m³/s
	Candidate Candidate

	level int
}

// demanding is the site with another demand; tables, ladders and chords are
// shared.
func (st *site) demanding(m3s float64) *site {
	p := *st.Problem
	p.Demand = m3s
	var others []*site
	for _, o := range st.others {
		others = append(others, o.demanding(m3s))
	}
	return &site{
		Problem: &p, n: st.n, workers: 1, record: st.record,
		water: st.water, drive: st.drive, pairs: st.pairs, chords: st.chords, lift: st.lift, tuning: st.tuning,
		options: st.options, engines: st.engines, ways: st.ways, stands: st.stands, flows: st.flows, costs: st.costs,
		risk: st.risk, set: st.set, others: others,
	}
}

// Best finds the best layout by the problem's objective, and nothing else; nil
// when there is none. It fails only on ctx.
func Best(ctx context.Context, p Problem) (*Candidate, error) {
	st, err := newSite(ctx, &p, &Settings{})
	if err != nil {
		return nil, err
	}
	var best *found
	for _, r := range st.reaches() {
		best = st.seek(ctx, p.Objective, bucket{from: r.From, to: r.To, anyClass: true}, best)
	}
	if best == nil || ctx.Err() != nil {
		return nil, ctx.Err()
	}
	c := st.describe(best, nil)
	return &c, nil
}
