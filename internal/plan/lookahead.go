package plan

import (
	"context"
	"time"

	"route/internal/profile"
)

// aheadStations are looked at ahead: 200 m of creek on cells of 1 m, about as
// far as a hand moves a pump at once, in two seconds of one processor.
const aheadStations = 400

// afterTrial is how long looking ahead rests after a trial, so that it does not
// take the processor from a hand that drags.
const afterTrial = 100 * time.Millisecond

// LookAhead works out what takes longest in a first trial with the pump at a
// place, its delivery line, for the stations around pumpM and on outwards. It
// is meant to run while nobody moves anything: it rests while there are trials,
// and changes none of them. The error is a *finding.Fault of the site, or of ctx.
func (d *Desk) LookAhead(ctx context.Context, pumpM float64) error {
	j, trials, err := d.ready(ctx)
	if err != nil {
		return err
	}
	centre := j.nearestStation(profile.Station(pumpM), FieldPlace{StationM: pumpM})
	looked := 0
	for k := 0; k < j.creek.Len() && looked < aheadStations; k++ {
		for _, station := range [2]int{centre + k, centre - k} {
			if station < 0 || station >= j.creek.Len() || (k == 0 && looked > 0) {
				continue
			}
			for set := range trials {
				if err := d.bench.rest(ctx); err != nil {
					return err
				}
				// Where there is no line, the trial finds out again and says so.
				if j.keptWay(station, set).OK {
					_, _ = j.routes.from(j.fieldOf(set), j.creek.Points[station])
				}
			}
			looked++
		}
	}
	return nil
}

// rest waits until there has been no trial for a while.
func (b *bench) rest(ctx context.Context) error {
	for ctx.Err() == nil {
		since := time.Since(time.Unix(0, b.lastTrial.Load()))
		if since >= afterTrial {
			break
		}
		wait := time.NewTimer(afterTrial - since)
		select {
		case <-wait.C:
		case <-ctx.Done():
			wait.Stop()
		}
	}
	return ctx.Err()
}
