package valley

import (
	"math"
	"math/rand/v2"
	"time"

	"github.com/paulmach/orb"
)

// Fix is one point of a walked track.
type Fix struct {
	Recorded orb.Point // what the receiver wrote, in the frame of the place
	True     orb.Point // where the person stood
	EleM     float64   // what the receiver wrote; NaN when it writes none
	Time     time.Time
	Still    bool // the person stood still
}

// walkPlan is a walk along the creek with a hand-held receiver.
type walkPlan struct {
	from, to  float64 // stations; from > to is a walk upstream
	paceMS    float64
	everyS    float64 // seconds between fixes
	errorM    float64 // root mean square of the horizontal error
	errorTauS float64 // its correlation time
	jitterM   float64 // independent part of it, each way
	still     []pause
	gaps      [][2]float64 // stations between which nothing was recorded, lower first
	elevation bool
	geoidM    float64 // ellipsoidal minus true height, which the receiver wrote
	start     time.Time
}

// pause is a place where the person stood.
type pause struct{ station, seconds float64 }

// Walk gives the recorded track in its parts; a gap in the record ends a part.
func (p *Place) Walk() [][]Fix {
	w := p.walk
	random := rand.New(rand.NewPCG(p.seed, 31))
	legs := p.stroll(w, random)
	p.disturb(w, legs, random)
	return legs
}

// stroll walks beside the thalweg without error.
func (p *Place) stroll(w walkPlan, random *rand.Rand) [][]Fix {
	var legs [][]Fix
	var leg []Fix
	aside := newCorrelated(random, 25)
	at, now, direction := w.from, w.start, 1.0
	if w.to < w.from {
		direction = -1
	}
	pauses := append([]pause(nil), w.still...)
	for (w.to-at)*direction >= 0 {
		if w.inGap(at) {
			if len(leg) > 0 {
				legs, leg = append(legs, leg), nil
			}
		} else {
			leg = append(leg, p.stand(at, 0.5*aside.after(w.everyS), now))
		}
		for i, rest := range pauses {
			if len(leg) > 0 && math.Abs(at-rest.station) < 0.5*w.paceMS*w.everyS {
				for s := w.everyS; s <= rest.seconds; s += w.everyS {
					now = now.Add(time.Duration(w.everyS * float64(time.Second)))
					same := leg[len(leg)-1]
					same.Time, same.Still = now, true
					leg = append(leg, same)
				}
				pauses = append(pauses[:i:i], pauses[i+1:]...)
				break
			}
		}
		at += direction * w.paceMS * w.everyS
		now = now.Add(time.Duration(w.everyS * float64(time.Second)))
	}
	return append(legs, leg)
}

// stand is a fix beside the thalweg.
func (p *Place) stand(station, asideM float64, now time.Time) Fix {
	a, b := p.creek.point(station-0.5), p.creek.point(station+0.5)
	along := orb.Point{b[0] - a[0], b[1] - a[1]}
	at := p.creek.point(station)
	n := math.Hypot(along[0], along[1])
	at[0] -= asideM * along[1] / n
	at[1] += asideM * along[0] / n
	return Fix{True: at, EleM: math.NaN(), Time: now}
}

func (w walkPlan) inGap(station float64) bool {
	for _, g := range w.gaps {
		if station > g[0] && station < g[1] {
			return true
		}
	}
	return false
}

// disturb adds the receiver's error, scaled so that its root mean square over
// the whole walk is as planned.
func (p *Place) disturb(w walkPlan, legs [][]Fix, random *rand.Rand) {
	east, north, up := newCorrelated(random, w.errorTauS), newCorrelated(random, w.errorTauS), newCorrelated(random, 3*w.errorTauS)
	last := w.start
	sum, n := 0.0, 0
	for _, leg := range legs {
		for i := range leg {
			f := &leg[i]
			since := f.Time.Sub(last).Seconds()
			last = f.Time
			f.Recorded = orb.Point{east.after(since), north.after(since)}
			sum += sq(f.Recorded[0]) + sq(f.Recorded[1])
			n++
			if w.elevation {
				f.EleM = p.Ground(f.True) + w.geoidM + 4*up.after(since)
			}
		}
	}
	scale := math.Sqrt((sq(w.errorM) - 2*sq(w.jitterM)) / (sum / float64(n)))
	for _, leg := range legs {
		for i := range leg {
			f := &leg[i]
			for k := range f.Recorded {
				f.Recorded[k] = f.True[k] + scale*f.Recorded[k] + w.jitterM*random.NormFloat64()
			}
		}
	}
}
