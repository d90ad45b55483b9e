package plan

import (
	"fmt"
	"math"
	"slices"

	"route/internal/finding"
	"route/internal/profile"
	"route/internal/quantity"
)

// This file holds what is said about measurements made on site.

// readingUsed is the code of the note about a reading that counts.
const readingUsed = "field_reading"

// measured says whether a measurement made on site counts in the plan.
func (p *Plan) measured() bool {
	return slices.ContainsFunc(p.Messages, func(m Message) bool { return m.Code == readingUsed })
}

// LiftMeasured says whether a lift that was measured on site counts in the plan.
func (p *Plan) LiftMeasured() bool {
	return slices.ContainsFunc(p.Messages, func(m Message) bool { return m.Code == liftUsed })
}

func (j *job) length(m float64) string {
	return quantity.Format(j.site.Units, quantity.Length, m)
}

func (j *job) measure(m quantity.Measure) string {
	return quantity.FormatMeasure(j.site.Units, quantity.Length, m)
}

// by is a reading with its standard deviation.
func (d measured) by() quantity.Measure {
	return quantity.Measure{Value: d.DropM, Sigma: math.Hypot(d.SigmaM, d.SharedM)}
}

// between names the two ends.
func (j *job) between(d measured) string {
	return fmt.Sprintf("the drop from %s to %s", j.length(float64(d.From)), j.length(float64(d.To)))
}

// questioned is the warning about a reading that is hard to believe.
func (j *job) questioned(d measured, doubt profile.Doubt) finding.Finding {
	said := "the terrain says"
	if doubt.ByOthers {
		said = "the terrain and the other readings say"
	}
	often := "less than once in a million times"
	if n := 1 / doubt.Chance(); n < 1e6 {
		often = fmt.Sprintf("about once in %.2g times", n)
		if n >= 100 {
			digits := math.Pow(10, math.Floor(math.Log10(n))-1)
			often = fmt.Sprintf("about once in %.0f times", math.Round(n/digits)*digits)
		}
	}
	end, hint := "it is left out", "; if it stands, add accept: true to its entry"
	if doubt.Used {
		end, hint = "it is used because its entry says accept", ""
	}
	text := fmt.Sprintf("%s was measured %s, but %s %s; an honest reading is that far off %s, and %s",
		j.between(d), j.measure(d.by()), said, j.measure(doubt.Expected), often, end)
	slope := math.Abs(doubt.Expected.Value / float64(d.To-d.From))
	check := fmt.Sprintf("check the reading, its unit and both places (%s along the creek are %s of fall there)", j.length(10), j.length(10*slope))
	f := finding.New(finding.Warning, "field_questioned", text, check+hint).In(d.file).At(float64(d.From))
	f.Line = d.line
	return f
}

// tellMeasured says of each reading that counts what it changed, and of a
// levelling book what it says in all.
func (j *job) tellMeasured(drops []measured, used []bool, prior *profile.Certainty) error {
	type whole struct {
		from, to profile.Station
		count    int
	}
	books := map[*FieldReading]*whole{}
	var order []measured
	for k, d := range drops {
		if !used[k] {
			continue
		}
		if d.book {
			b := books[d.entry]
			if b == nil {
				b = &whole{min(d.From, d.To), max(d.From, d.To), 0}
				books[d.entry] = b
				order = append(order, d)
			}
			b.from, b.to, b.count = min(b.from, d.From, d.To), max(b.to, d.From, d.To), b.count+1
			continue
		}
		order = append(order, d)
	}
	for _, d := range order {
		b := books[d.entry]
		what, from, to := fmt.Sprintf("was measured %s", j.measure(d.by())), d.From, d.To
		if b != nil {
			from, to = b.from, b.to
			what = fmt.Sprintf("was levelled in %d steps", b.count)
			if b.count == 1 {
				what = "was levelled in one step"
			}
		}
		before, err := prior.Drop(from, to)
		if err != nil {
			return err
		}
		after, err := j.certain.Drop(from, to)
		if err != nil {
			return err
		}
		d.From, d.To = from, to
		f := finding.New(finding.Note, readingUsed, fmt.Sprintf("%s %s; the terrain said %s, and with all readings it is %s",
			j.between(d), what, j.measure(before), j.measure(after)), "").In(d.file).At(float64(from))
		f.Line = d.line
		if b != nil {
			f.Line = 0
		}
		j.tell(f)
	}
	return nil
}
