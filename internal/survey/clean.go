package survey

import (
	"fmt"
	"math"
	"sort"

	"github.com/paulmach/orb"

	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/quantity"
)

// CleanOptions are the choices for Clean. The zero value works.
type CleanOptions struct {
	// SigmaM is the standard deviation of a fix in metres; 0 means 7 m, a
	// hand-held receiver under trees.
	SigmaM float64
	// MaxSpeed in metres per second is the greatest that a person on foot
	// makes along a creek; fixes that ask for more are jumps. 0 means 3 m/s.
	MaxSpeed float64
	// MaxHDOP is the greatest dilution of precision of a usable fix; 0 means 5.
	MaxHDOP float64
	// GapM is how far apart two fixes of a leg may lie before the leg is
	// taken to pieces there; 0 means 300 m. Legs whose fixes are far apart
	// throughout stay whole up to five times their usual distance (90 %
	// quantile). Routes stay whole.
	GapM float64
}

func (o CleanOptions) withDefaults() CleanOptions {
	def := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	def(&o.SigmaM, 7)
	def(&o.MaxSpeed, 3)
	def(&o.MaxHDOP, 5)
	def(&o.GapM, 300)
	return o
}

// place is a fix in the frame.
type place struct {
	at   orb.Point
	fix  *Fix
	gone bool
}

// Clean turns a track into legs in the frame and takes out what is not the
// walk: repeated fixes, fixes of poor precision, jumps, clouds where the
// walker stood still, and stretches walked to and fro. A drawn route only
// loses repeated points. The findings say how much was taken out; the error
// is a *finding.Fault when no line is left, or when the track spans more
// than a creek does.
func Clean(t Track, f *geodesy.Frame, o CleanOptions) ([]orb.LineString, []finding.Finding, error) {
	o = o.withDefaults()
	c := cleaner{o: o, track: t}
	for _, leg := range t.Legs {
		var places []place
		for i := range leg {
			places = append(places, place{at: f.ToFrame(leg[i].LonLat), fix: &leg[i]})
		}
		c.legs = append(c.legs, places)
	}
	c.total = t.Fixes()
	c.repeated()
	if !t.Route {
		c.strays()
		c.imprecise()
		c.jumps()
		c.spikes()
		c.clouds()
		c.split()
		c.backtracking()
	}
	return c.result()
}

type cleaner struct {
	o        CleanOptions
	track    Track
	legs     [][]place
	total    int
	findings []finding.Finding
}

// say adds a finding about n fixes, if any.
func (c *cleaner) say(n int, level finding.Level, code, text, hint string, values ...quantity.Value) {
	if n > 0 {
		f := finding.New(level, code, fmt.Sprintf(text, n), hint, values...)
		f.Line = c.track.Line
		c.findings = append(c.findings, f)
	}
}

// sweep removes the places marked gone and legs that are empty, and counts.
func (c *cleaner) sweep() int {
	n := 0
	legs := c.legs[:0]
	for _, leg := range c.legs {
		left := leg[:0]
		for _, p := range leg {
			if p.gone {
				n++
				continue
			}
			left = append(left, p)
		}
		if len(left) > 0 {
			legs = append(legs, left)
		}
	}
	c.legs = legs
	return n
}

func (c *cleaner) each(do func(leg []place)) {
	for _, leg := range c.legs {
		do(leg)
	}
}

func (c *cleaner) count() int {
	n := 0
	for _, leg := range c.legs {
		n += len(leg)
	}
	return n
}

// repeated drops fixes at the same place as the one before.
func (c *cleaner) repeated() {
	c.each(func(leg []place) {
		for i := 1; i < len(leg); i++ {
			leg[i].gone = leg[i].fix.LonLat == leg[i-1].fix.LonLat
		}
	})
	c.say(c.sweep(), finding.Note, "fixes_repeated", "%d fixes repeat the one before and were left out", "")
}

// strays drops fixes much further from the middle of the track than any walk
// goes; the frame is not made for them either.
func (c *cleaner) strays() {
	const farM = 50e3
	var lon, lat []float64
	c.each(func(leg []place) {
		for _, p := range leg {
			lon, lat = append(lon, p.fix.Lon), append(lat, p.fix.Lat)
		}
	})
	if len(lon) == 0 {
		return
	}
	sort.Float64s(lon)
	sort.Float64s(lat)
	middle := geodesy.LonLat{Lon: lon[len(lon)/2], Lat: lat[len(lat)/2]}
	c.each(func(leg []place) {
		for i := range leg {
			d, _ := geodesy.Distance(middle, leg[i].fix.LonLat)
			leg[i].gone = d > farM
		}
	})
	c.say(c.sweep(), finding.Warning, "fixes_astray", "%d fixes lie more than {0} from the rest of the track and were left out", "", quantity.Metres(farM))
}

// imprecise drops fixes of which the receiver itself thought little.
func (c *cleaner) imprecise() {
	bad := 0
	c.each(func(leg []place) {
		for i := range leg {
			leg[i].gone = leg[i].fix.HDOP > c.o.MaxHDOP
			if leg[i].gone {
				bad++
			}
		}
	})
	if bad > c.count()/2 {
		c.each(func(leg []place) {
			for i := range leg {
				leg[i].gone = false
			}
		})
		c.say(bad, finding.Warning, "track_imprecise", "%d fixes, most of the track, are imprecise (HDOP above "+trim(c.o.MaxHDOP)+"); they were kept",
			"expect the creek line to be further off than usual")
		return
	}
	c.say(c.sweep(), finding.Note, "fixes_imprecise", "%d imprecise fixes (HDOP above "+trim(c.o.MaxHDOP)+") were left out", "")
}

func trim(v float64) string { return fmt.Sprintf("%g", v) }

// jumps drops fixes that ask for more than walking speed: the longest chain
// of fixes is kept in which each can be reached on foot from the one before.
func (c *cleaner) jumps() {
	bad := 0
	c.each(func(leg []place) { bad += c.markJumps(leg) })
	if bad > c.count()/3 {
		c.each(func(leg []place) {
			for i := range leg {
				leg[i].gone = false
			}
		})
		c.say(bad, finding.Warning, "track_too_fast", "%d fixes of the track are faster than {0}; it was not walked, and was taken as it is",
			"check that this is the track of the creek", quantity.Of(quantity.Velocity, c.o.MaxSpeed))
		return
	}
	c.say(c.sweep(), finding.Note, "fixes_jump", "%d fixes jump faster than {0} and were left out", "", quantity.Of(quantity.Velocity, c.o.MaxSpeed))
}

// markJumps finds the longest chain among fixes with times; every fix may
// follow one of the last back ones. Fixes without a time are left alone.
func (c *cleaner) markJumps(leg []place) int {
	const back = 60
	var timed []int
	for i := range leg {
		if !leg[i].fix.Time.IsZero() {
			timed = append(timed, i)
		}
	}
	if len(timed) < 3 {
		return 0
	}
	length := make([]int, len(timed))
	from := make([]int, len(timed))
	best := 0
	for k := range timed {
		length[k], from[k] = 1, -1
		for j := k - 1; j >= max(0, k-back); j-- {
			if length[j]+1 > length[k] && c.onFoot(leg[timed[j]], leg[timed[k]]) {
				length[k], from[k] = length[j]+1, j
			}
		}
		if length[k] > length[best] {
			best = k
		}
	}
	for _, i := range timed {
		leg[i].gone = true
	}
	for k := best; k >= 0; k = from[k] {
		leg[timed[k]].gone = false
	}
	return len(timed) - length[best]
}

// onFoot allows for the error of both fixes beside the speed.
func (c *cleaner) onFoot(a, b place) bool {
	dt := math.Abs(b.fix.Time.Sub(a.fix.Time).Seconds())
	return distance(a.at, b.at) <= c.o.MaxSpeed*dt+4*c.o.SigmaM
}

// spikes drops single fixes far to one side of both their neighbours, which
// is how a jump looks in a track without times.
func (c *cleaner) spikes() {
	c.each(func(leg []place) {
		for i := 1; i+1 < len(leg); i++ {
			if leg[i-1].gone {
				continue
			}
			a, b, d := distance(leg[i-1].at, leg[i].at), distance(leg[i].at, leg[i+1].at), distance(leg[i-1].at, leg[i+1].at)
			leg[i].gone = min(a, b) > 6*c.o.SigmaM && a+b > 5*(d+3*c.o.SigmaM)
		}
	})
	c.say(c.sweep(), finding.Note, "fixes_spike", "%d fixes stand far to one side of their neighbours and were left out", "")
}

// clouds replaces the fixes of a halt by the one nearest to their middle. A
// halt is a run of fixes within 2.5 σ of their running mean, in which the
// receiver wandered twice as far as the run is wide while the means of its
// halves stayed together, and which took half a minute where times are known.
func (c *cleaner) clouds() {
	radius := 2.5 * c.o.SigmaM
	halts := 0
	c.each(func(leg []place) {
		for i := 0; i < len(leg); {
			j := haltEnd(leg, i, radius)
			run := leg[i : j+1]
			if len(run) < 12 || wandered(run) < 4*radius || !longHalt(leg[i], leg[j]) ||
				distance(mean(run[:len(run)/2]), mean(run[len(run)/2:])) > 0.4*radius {
				i++
				continue
			}
			keep := middleOf(run)
			for k := range run {
				run[k].gone = k != keep
			}
			halts++
			i = j + 1
		}
	})
	gone := c.sweep()
	c.say(halts, finding.Note, "track_halts", fmt.Sprintf("the walker stood still in %%d places; %d fixes there were left out", gone), "")
}

// haltEnd is the last fix of the run from i on that stays within radius of its
// own mean; one or two fixes in a row may stray.
func haltEnd(leg []place, i int, radius float64) int {
	sum, n := leg[i].at, 1.0
	end, strays := i, 0
	for k := i + 1; k < len(leg) && strays < 3; k++ {
		if distance(leg[k].at, orb.Point{sum[0] / n, sum[1] / n}) > radius {
			strays++
			continue
		}
		sum[0], sum[1], n = sum[0]+leg[k].at[0], sum[1]+leg[k].at[1], n+1
		end, strays = k, 0
	}
	return end
}

func wandered(run []place) float64 {
	l := 0.0
	for k := 1; k < len(run); k++ {
		l += distance(run[k-1].at, run[k].at)
	}
	return l
}

func mean(ps []place) orb.Point {
	var m orb.Point
	for _, p := range ps {
		m[0] += p.at[0] / float64(len(ps))
		m[1] += p.at[1] / float64(len(ps))
	}
	return m
}

func longHalt(a, b place) bool {
	if a.fix.Time.IsZero() || b.fix.Time.IsZero() {
		return true
	}
	return math.Abs(b.fix.Time.Sub(a.fix.Time).Seconds()) >= 30
}

// middleOf is the place nearest to the mean of all.
func middleOf(ps []place) int {
	m := mean(ps)
	best := 0
	for i := range ps {
		if distance(ps[i].at, m) < distance(ps[best].at, m) {
			best = i
		}
	}
	return best
}

// split ends a leg where the next fix is too far away to say what is between.
func (c *cleaner) split() {
	var legs [][]place
	gaps, longest := 0, 0.0
	for _, leg := range c.legs {
		from := 0
		limit := max(c.o.GapM, 5*usualStep(leg))
		for i := 1; i < len(leg); i++ {
			if d := distance(leg[i-1].at, leg[i].at); d > limit {
				legs = append(legs, leg[from:i])
				from = i
				gaps++
				longest = max(longest, d)
			}
		}
		legs = append(legs, leg[from:])
	}
	c.legs = legs
	c.say(gaps, finding.Note, "track_gaps", "the receiver was silent in %d places, for up to {0}", "", quantity.Metres(longest))
}

// usualStep is the 90 % quantile of the distances between fixes.
func usualStep(leg []place) float64 {
	var d []float64
	for i := 1; i < len(leg); i++ {
		d = append(d, distance(leg[i-1].at, leg[i].at))
	}
	if len(d) == 0 {
		return 0
	}
	sort.Float64s(d)
	return d[(len(d)-1)*9/10]
}

// result gives the legs of at least two places. Short legs of a single fix
// are kept as long as there is another leg that they may connect to.
func (c *cleaner) result() ([]orb.LineString, []finding.Finding, error) {
	var legs []orb.LineString
	whole := orb.MultiPoint{}
	points := 0
	for _, leg := range c.legs {
		line := make(orb.LineString, len(leg))
		for i, p := range leg {
			line[i] = p.at
		}
		points += len(line)
		whole = append(whole, line...)
		legs = append(legs, line)
	}
	if points < 2 {
		return nil, nil, &finding.Fault{Code: "track_stands_still", Line: c.track.Line,
			Text: fmt.Sprintf("%s does not go anywhere: its %d fixes come down to %d place", c.track.title(), c.total, points),
			Hint: "give a track that was walked along the creek"}
	}
	const mostM = 50e3
	b := whole.Bound()
	if span := math.Hypot(b.Max[0]-b.Min[0], b.Max[1]-b.Min[1]); span > mostM {
		return nil, nil, &finding.Fault{Code: "track_too_wide", Line: c.track.Line,
			Text: fmt.Sprintf("%s spans %.0f km, more than a creek does", c.track.title(), span/1000),
			Hint: "cut the track down to the creek"}
	}
	return legs, c.findings, nil
}

func distance(p, q orb.Point) float64 { return math.Hypot(q[0]-p[0], q[1]-p[1]) }
