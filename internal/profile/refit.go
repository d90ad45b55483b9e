package profile

import "math"

// Refit is the profile that the same fit gives for other raw heights at the
// same stations, in metres: of terrain whose error came out differently. Where
// the raster has no height there is none, whatever rawM says. The smoothing
// and how uncertain the heights are stay as they were. The spread of such heights
// is not looked at: LowM and HighM are ZM.
func (p *Profile) Refit(rawM []float64, o ThalwegOptions) *Profile {
	q := &Profile{Alignment: p.Alignment, Stations: p.Stations, Points: p.Points, RawM: rawM, Flags: make([]Flag, p.Len()), SlopeM: make([]float64, p.Len()),
		SigmaM: p.SigmaM, ResidualM: p.ResidualM, ownVar: p.ownVar, slopeErrorM: p.slopeErrorM, smoothing: p.smoothing, rough: p.rough, passed: p.passed}
	for i, f := range p.Flags {
		q.Flags[i] = f &^ FlagBridge
	}
	o = o.withDefaults()
	weight, _ := q.weights(o)
	q.drawLine(weight, o)
	q.LowM, q.HighM = q.ZM, q.ZM
	for i := 1; i < q.Len(); i++ {
		q.SlopeM[i] = q.SlopeM[i-1] + math.Hypot(float64(q.Stations[i]-q.Stations[i-1]), q.ZM[i-1]-q.ZM[i])
	}
	return q
}
