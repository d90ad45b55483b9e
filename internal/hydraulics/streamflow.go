package hydraulics

import "math"

// FlowReading is a measured flow with one standard deviation, both in m³/s.
type FlowReading struct{ Flow, Sigma float64 }

// BucketReading is the mean of some fillings of a vessel of a volume (m³) with
// the seconds each took. At least three fillings of at least 10 s are usual;
// the error is then 2–5 % (from memory): 3 % of the vessel and of the hand on
// the watch, and the scatter of the fillings. Fewer than one, or a filling of
// no time, is a *RangeError.
func BucketReading(volume float64, seconds []float64) (FlowReading, error) {
	if len(seconds) == 0 {
		return FlowReading{}, &RangeError{"BucketReading", "number of fillings", 0, 1, math.Inf(1)}
	}
	var sum, squares float64
	for _, s := range seconds {
		if !(s > 0) {
			return FlowReading{}, &RangeError{"BucketReading", "time of a filling in s", s, 0, math.Inf(1)}
		}
		q := volume / s
		sum += q
		squares += q * q
	}
	n := float64(len(seconds))
	mean := sum / n
	scatter := 0.0
	if n > 1 {
		scatter = math.Sqrt(math.Max(squares-n*mean*mean, 0) / (n - 1) / n)
	}
	const reaction = 0.3 // s, a hand on a watch
	shortest := volume / mean
	return FlowReading{mean, math.Hypot(scatter, mean*math.Hypot(0.02, reaction/shortest/math.Sqrt(n)))}, nil
}

// FloatCoefficient is mean velocity over the surface velocity that a float
// shows, by the mean depth in metres: U.S. Bureau of Reclamation, Water
// Measurement Manual, table 13-1 (from memory): 0.66 at 1 ft, 0.68, 0.70, 0.72,
// 0.74 at 5 ft, … 0.80 at 20 ft and more, for a float in the middle of the
// stream. Below 1 ft it stays 0.66.
func FloatCoefficient(depthM float64) float64 {
	table := []struct{ ft, k float64 }{{1, 0.66}, {2, 0.68}, {3, 0.70}, {4, 0.72}, {5, 0.74}, {6, 0.76}, {9, 0.77}, {12, 0.78}, {15, 0.79}, {20, 0.80}}
	d := depthM / 0.3048
	if d <= table[0].ft {
		return table[0].k
	}
	for i := 1; i < len(table); i++ {
		if a, b := table[i-1], table[i]; d <= b.ft {
			return a.k + (b.k-a.k)*(d-a.ft)/(b.ft-a.ft)
		}
	}
	return table[len(table)-1].k
}

// FloatReading is the flow by a float: surface velocity (m/s) times a
// coefficient times the area of the section (m²). The error is ±20 % (USBR and
// ISO 748 give 15–25 %; from memory).
func FloatReading(surfaceVelocity, area, meanDepth float64) FlowReading {
	q := FloatCoefficient(meanDepth) * surfaceVelocity * area
	return FlowReading{q, 0.2 * q}
}

// Vertical is one sounding of a section: distance from the bank, depth, and
// mean velocity at six tenths of the depth, in m and m/s.
type Vertical struct{ DistanceM, DepthM, VelocityMS float64 }

// SectionReading is the flow by area and velocity, mid-section method (ISO 748;
// USGS Water-Supply Paper 2175, chapter 5): every vertical counts for half the
// way to its neighbours. The banks are the first and last verticals. The
// standard deviation is ISO 748's for few verticals, about 20 % over the
// square root of their number, and 5 % for the meter (from memory).
func SectionReading(v []Vertical) (FlowReading, error) {
	if len(v) < 3 {
		return FlowReading{}, &RangeError{"SectionReading", "number of verticals", float64(len(v)), 3, math.Inf(1)}
	}
	q := 0.0
	for i, x := range v {
		if i > 0 && !(x.DistanceM > v[i-1].DistanceM) {
			return FlowReading{}, &RangeError{"SectionReading", "distance from the bank in m", x.DistanceM, v[i-1].DistanceM, math.Inf(1)}
		}
		if !(x.DepthM >= 0) {
			return FlowReading{}, &RangeError{"SectionReading", "depth in m", x.DepthM, 0, math.Inf(1)}
		}
		left, right := v[max(i-1, 0)].DistanceM, v[min(i+1, len(v)-1)].DistanceM
		q += x.VelocityMS * x.DepthM * (right - left) / 2
	}
	return FlowReading{q, math.Abs(q) * math.Hypot(0.2/math.Sqrt(float64(len(v))), 0.05)}, nil
}

// Take judges what is drawn from a creek between intake and pump.
type Take struct {
	ShareOfLow float64 // drawn over the lowest flow
	LeftFlow   float64 // m³/s in the reach
	LeftOfMean float64 // over the mean annual flow; NaN when that is unknown
	Judgement  string  // Tennant's word for it; empty when the mean is unknown
}

// JudgeTake follows Tennant, Fisheries 1:4 (1976) 6–10: 10 % of the mean annual
// flow keeps most life alive for a short time, 30 % is a good base, 60 % is
// excellent. Most of the water comes back at the pump, so only the reach
// between intake and pump has less.
func JudgeTake(drawn, lowFlow, meanAnnual float64) Take {
	t := Take{ShareOfLow: drawn / lowFlow, LeftFlow: math.Max(lowFlow-drawn, 0), LeftOfMean: math.NaN()}
	if !(meanAnnual > 0) {
		return t
	}
	t.LeftOfMean = t.LeftFlow / meanAnnual
	switch {
	case t.LeftOfMean >= 0.6:
		t.Judgement = "excellent"
	case t.LeftOfMean >= 0.3:
		t.Judgement = "good"
	case t.LeftOfMean >= 0.1:
		t.Judgement = "short-term survival"
	default:
		t.Judgement = "severe harm"
	}
	return t
}
