package plan

import (
	"fmt"
	"math"

	"route/internal/finding"
	"route/internal/profile"
	"route/internal/quantity"
)

// This file takes places that the crew chose on site: the plan is made around
// them.

// crewSigmaM is the standard deviation of a place that a crew gives without
// saying how well it is known: a hand-held receiver's.
func (j *job) crewSigmaM(e *FieldReading) float64 {
	switch {
	case e.SigmaM > 0:
		return e.SigmaM
	case !math.IsNaN(e.From.StationM):
		return 1 // paced or taped from a stake (common practice, no source)
	default:
		return j.site.TrackSigmaM
	}
}

// tellPlaces says where on the creek the places lie that the crew chose, and
// how far the water's height there is uncertain because the place is.
func (j *job) tellPlaces() error {
	for i := range j.site.Field {
		e := &j.site.Field[i]
		if e.Kind != "place" {
			continue
		}
		s, err := j.stationOf(e.From)
		if err != nil {
			return err
		}
		sigma := j.crewSigmaM(e)
		first, last := j.creek.Stations[0], j.creek.Stations[j.creek.Len()-1]
		up, _ := j.creek.HeightAt(max(first, s-profile.Station(sigma)))
		down, _ := j.creek.HeightAt(min(last, s+profile.Station(sigma)))
		off := (up - down) / 2
		level, hint := finding.Note, ""
		if off > placeFallM {
			level, hint = finding.Warning, "measure the drop from the intake to it, or give its place more closely: sigma says how well it is known"
		}
		f := finding.New(level, "field_place_chosen",
			fmt.Sprintf("the crew put the %s at {0} along the creek, and the plan is made around it; its place is known to {1}, which is {2} of height there", choosable[e.Place]), hint,
			quantity.Metres(float64(s)), quantity.Metres(sigma), quantity.Metres(off)).In(j.site.File).At(float64(s))
		f.Line = e.Line
		j.tell(f)
	}
	return nil
}

// placeFallM is from how much height on that an uncertain place is worth a
// warning: a tenth of the least drive head that is usual.
const placeFallM = 0.1
