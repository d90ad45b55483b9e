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

// pinChosen pins what the crew chose. pins: in the same file must not say
// otherwise; a flag may, for a trial.
func (r *siteReader) pinChosen() error {
	for i := range r.site.Field {
		e := &r.site.Field[i]
		if e.Kind != "place" {
			continue
		}
		if pin := r.site.Pins.at(e.Place); *pin == nil {
			*pin = &Pin{Place: e.From}
			continue
		}
		return &finding.Fault{Code: "site_value", File: r.file, Line: e.Line, Column: e.Column, Text: fmt.Sprintf("the crew put the %s somewhere, and pins: says where it is as well", choosable[e.Place]), Hint: "keep one of the two"}
	}
	return nil
}

// stands says whether the place that the crew chose is the one that is pinned.
func (j *job) stands(e *FieldReading) bool {
	pin := *j.site.Pins.at(e.Place)
	return pin != nil && pin.Place.token == e.From.token
}

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
		if e.Kind != "place" || !j.stands(e) {
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
