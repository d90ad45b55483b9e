package profile

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"route/internal/finding"
	"route/internal/quantity"
)

// This file holds what Thalweg has to say to a person.

func (t *thalweg) offTerrain() error {
	f := &finding.Fault{Code: "creek_off_terrain",
		Text: fmt.Sprintf("%d of %d points of the creek line lie where the terrain has no height", t.outside, t.vertices),
		Hint: "give terrain that covers the creek, or a track of a creek in this terrain"}
	if g, ok := t.g.(interface{ Bound() orb.Bound }); ok {
		b := g.Bound()
		f.Text += fmt.Sprintf("; the terrain read is %.0f m by %.0f m", b.Max[0]-b.Min[0], b.Max[1]-b.Min[1])
	}
	if g, ok := t.g.(interface{ Why(orb.Point) error }); ok {
		f.Err = g.Why(t.walkedPoint())
	}
	return f
}

// walkedPoint is the first vertex of the walk, for messages.
func (t *thalweg) walkedPoint() orb.Point {
	if len(t.walk.line) > 0 {
		return t.walk.line[0]
	}
	return orb.Point{}
}

func (t *thalweg) tooShort(lengthM float64) error {
	if t.walk.lengthM > 30*t.o.CellM { // it goes somewhere, and comes back
		return &finding.Fault{Code: "creek_is_a_loop",
			Text: "the creek line ends where it begins, and a creek does not",
			Hint: "cut the line to the creek, from its upper to its lower end, or name another track or line of the file with track:"}
	}
	return &finding.Fault{Code: "creek_too_short",
		Text: fmt.Sprintf("the creek is %.1f m long, less than three cells of the terrain (%.2g m each)", lengthM, t.o.CellM),
		Hint: "give a longer track, or terrain with smaller cells"}
}

func (t *thalweg) sayWalk() {
	w := t.walk
	if w.leftOut > 0 {
		t.say(finding.New(finding.Warning, "creek_part_left_out",
			fmt.Sprintf("%d of the track's parts, {0} in all, lie more than {1} from the rest and were left out", w.leftOut),
			"draw or walk the missing stretch, or choose another track",
			quantity.Metres(w.leftOutM), quantity.Metres(3*t.o.corridorM())))
	}
	if t.outside > 0 {
		t.say(finding.New(finding.Warning, "creek_off_terrain",
			fmt.Sprintf("%d of %d points of the creek line lie where the terrain has no height", t.outside, t.vertices),
			"give terrain that covers the whole creek"))
	}
}

func (t *thalweg) sayFlow(fallM float64, clear bool) {
	switch {
	case !clear:
		t.say(finding.New(finding.Warning, "creek_flow_unclear",
			"the terrain does not tell which way the creek flows (a fall of {0} over {1}); the line is taken as drawn downstream",
			"check the direction, and say which way the creek flows if this is wrong",
			quantity.Metres(math.Abs(fallM)), quantity.Metres(t.walk.lengthM)))
	case fallM < 0:
		t.say(finding.New(finding.Note, "creek_walked_upstream",
			"the track was walked upstream; stations count downstream from its upper end", ""))
	}
}

// checkVoids refuses a creek of which too much is unknown.
func (t *thalweg) checkVoids(p *Profile, first, last int) error {
	voids := runs(p.Flags[first:last+1], FlagVoid)
	count := 0
	for _, r := range voids {
		count += r.to - r.from + 1
	}
	n := last - first + 1
	share := float64(count) / float64(n)
	if n-count >= 2 && share <= t.o.MaxVoidShare {
		return nil
	}
	where := ""
	for i, r := range voids {
		if i == 5 {
			where += fmt.Sprintf(" and %d more", len(voids)-i)
			break
		}
		if i > 0 {
			where += ", "
		}
		where += fmt.Sprintf("%v to %v", p.Stations[first+r.from], p.Stations[first+r.to])
	}
	return &finding.Fault{Code: "creek_void",
		Text: fmt.Sprintf("the terrain has no height on %.0f %% of the creek (at most %.0f %% is bridged); %d of %d points of the line lie outside; without height: %s",
			100*share, 100*t.o.MaxVoidShare, t.outside, t.vertices, where),
		Hint: "give terrain without holes there, or shorten the track to the part that is covered"}
}

// sayProfile lists what to check along the creek.
func (t *thalweg) sayProfile(long []reach, first int) {
	p := t.p
	t.sayRuns(FlagVoid, finding.Warning, "creek_void",
		"the terrain has no height for {1} from {0} on; the profile is drawn straight across",
		"measure the fall there before relying on it")
	t.sayRuns(FlagBridge, finding.Warning, "creek_bridged",
		"something {2} high stands across the creek for {1} from {0} on (a road, a bridge or a culvert); the profile runs straight through",
		"look at it: the water level under it is not known, and a pipe has to pass it")
	t.sayRuns(FlagFlat, finding.Note, "creek_flat",
		"the terrain is level for {1} from {0} on, as made-level water or whole-metre heights are; no fall can be read there",
		"measure the fall there before relying on it")
	t.sayRuns(FlagGap, finding.Warning, "creek_gap",
		"the creek line has no points for {1} from {0} on; the lowest ground between was followed",
		"check that the creek really runs there")
	t.sayRuns(FlagJunction, finding.Note, "creek_junction",
		"two low lines lie side by side for {1} from {0} on; the nearer to the track was followed",
		"check which of them carries the water")
	for _, r := range long {
		from, to := r.from-first, r.to-first
		if to < 0 || from >= p.Len() {
			continue
		}
		s := p.Stations[max(0, from)]
		t.say(finding.New(finding.Warning, "creek_hump",
			"the ground stands above the creek's line for {1} from {0} on, too long for a bridge: a dam, a fill, or a creek line that leaves the channel",
			"look at it before relying on the fall across it",
			quantity.Metres(float64(s)), quantity.Metres(float64(p.Stations[min(to, p.Len()-1)]-s))).At(float64(s)))
	}
	if l := p.Alignment.LengthM(); l < 0.4*t.walk.lengthM {
		t.say(finding.New(finding.Warning, "creek_much_shorter",
			"the creek found is {0} long, the track {1}: it wanders, or goes to and fro",
			"check that the track follows the creek from end to end",
			quantity.Metres(l), quantity.Metres(t.walk.lengthM)))
	}
}

// sayRuns reports runs of a flag; {0} is the station, {1} the length, {2} the
// greatest height above the fitted line. More than three of a kind are
// summed up.
func (t *thalweg) sayRuns(flag Flag, level finding.Level, code, text, hint string) {
	p := t.p
	rs := runs(p.Flags, flag)
	const most = 3
	for i, r := range rs {
		if i == most && len(rs) > most+1 {
			total := 0.0
			for _, r := range rs[i:] {
				total += p.span(r)
			}
			t.say(finding.New(level, code,
				fmt.Sprintf("the same in %d more places, {0} in all", len(rs)-i), hint, quantity.Metres(total)).
				At(float64(p.Stations[r.from])))
			return
		}
		high := 0.0
		for k := r.from; k <= r.to; k++ {
			if d := p.RawM[k] - p.ZM[k]; d > high {
				high = d
			}
		}
		s := float64(p.Stations[r.from])
		t.say(finding.New(level, code, text, hint,
			quantity.Metres(s), quantity.Metres(p.span(r)), quantity.Metres(high)).At(s))
	}
}

// span is the length of a run, half a step beyond its stations at both ends.
func (p *Profile) span(r reach) float64 {
	from, to := p.Stations[r.from], p.Stations[r.to]
	if r.from > 0 {
		from = (from + p.Stations[r.from-1]) / 2
	}
	if r.to+1 < p.Len() {
		to = (to + p.Stations[r.to+1]) / 2
	}
	return float64(to - from)
}
