package optimize

import "math"

// boxPlaces is how many places for its settling box each intake is tried with,
// spread evenly over the distances that the limits allow.
const boxPlaces = 4

// boxSpanM is the span of those distances where the limits give no greatest
// one.
const boxSpanM = 15.0

// boxRange says how much pipe lies between intake and settling box: at least,
// at most, and from one place that is tried to the next.
type boxRange struct{ least, most, step float64 }

func (st *site) boxRange() boxRange {
	r := boxRange{least: max(st.Limits.BoxLeadM, math.SmallestNonzeroFloat64), most: st.Limits.BoxLeadMaxM}
	if r.most < r.least {
		r.most = r.least + boxSpanM
	}
	r.step = (r.most - r.least) / (boxPlaces - 1)
	if st.boxAnywhere || st.Pins.Box.given() {
		r.most, r.step = math.Inf(1), 0
	}
	return r
}

// places calls visit for the stations at which the box of one intake is tried:
// of all that ok allows, those that come first at or beyond each step of the
// range. lengthTo gives the pipe to a station; its ok is false where none
// leads.
func (r boxRange) places(intake, end int, ok func(k int) bool, lengthTo func(k int) (float64, bool), visit func(k int, length float64)) {
	next := r.least
	for k := intake + 1; k <= end; k++ {
		length, reached := lengthTo(k)
		if !reached {
			continue
		}
		if length > r.most {
			break
		}
		if length >= next && ok(k) {
			visit(k, length)
			for next <= length && r.step > 0 {
				next += r.step
			}
		}
	}
}

// seats lists the settling boxes along the creek, with the intakes that they
// are tried with: the places of source k are intake[k] and box[k]. Sources are
// in the order of their intakes, and of the boxes of one intake the nearest
// comes last, so that it is the one that is given where all are as good.
type seats struct {
	intake, box []int32
	start       []int32   // first source of the intakes from a station on
	at          [][]int32 // sources by box
}

// placeBoxes lists the boxes along the creek.
func (w *water) placeBoxes(r boxRange) *seats {
	n := len(w.z)
	t := &seats{start: make([]int32, n+1), at: make([][]int32, n)}
	var of []int32
	for i := range n {
		t.start[i] = int32(len(t.box))
		of = of[:0]
		if w.intakeOK == nil || w.intakeOK[i] {
			r.places(i, n-1, w.boxAllowed,
				func(k int) (float64, bool) { return w.s[k] - w.s[i], true },
				func(k int, _ float64) { of = append(of, int32(k)) })
		}
		for j := len(of) - 1; j >= 0; j-- {
			t.at[of[j]] = append(t.at[of[j]], int32(len(t.box)))
			t.intake, t.box = append(t.intake, int32(i)), append(t.box, of[j])
		}
	}
	t.start[n] = int32(len(t.box))
	return t
}

// boxAllowed says whether a settling box may stand at a station.
func (w *water) boxAllowed(k int) bool { return w.boxOK == nil || w.boxOK[k] }
