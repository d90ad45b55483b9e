package plan

import (
	"fmt"
	"slices"
	"strings"

	"route/internal/dem"
	"route/internal/finding"
	"route/internal/quantity"
)

// textf is fmt.Sprintf for texts that hold no {0}.
func textf(format string, args ...any) string { return fmt.Sprintf(format, args...) }

func sorted(words []string) []string {
	slices.Sort(words)
	return words
}

// weight orders messages: errors first.
func weight(m Message) int {
	return slices.Index([]string{string(finding.Error), string(finding.Warning), string(finding.Note)}, m.Level)
}

// sortMessages orders by weight and keeps the order of finding otherwise.
func sortMessages(messages []Message) {
	slices.SortStableFunc(messages, func(a, b Message) int { return weight(a) - weight(b) })
}

// Warned says whether the plan or one of its layouts carries a warning.
func (p *Plan) Warned() bool {
	if hasLevel(p.Messages, finding.Warning) {
		return true
	}
	return slices.ContainsFunc(p.Layouts, func(l Layout) bool { return hasLevel(l.Messages, finding.Warning) })
}

// Currency is that of the first layout's cost; empty without a layout.
func (p *Plan) Currency() string {
	if len(p.Layouts) == 0 {
		return ""
	}
	return p.Layouts[0].Cost.Currency
}

// Headline is the answer in one or two sentences.
func (p *Plan) Headline() string {
	name := p.Site
	if name == "" {
		name = "This site"
	}
	if len(p.Layouts) == 0 {
		return name + ": no layout works within the limits. " + p.nearestMiss()
	}
	best := p.Layouts[0]
	day := func(v Number) string {
		return quantity.Format(p.System(), quantity.DailyVolume, float64(v)/litresPerDay)
	}
	head := func(v Number) string { return quantity.Format(p.System(), quantity.Length, float64(v)) }
	text := fmt.Sprintf("%s: a ram on %s of drive head would lift about %s (%s to %s in 8 of 10 cases) %s up to the tank, for about %s of materials.",
		name, head(best.HeadToCountOn()), day(best.WaterToCountOn()), day(best.DeliveredLDayLow), day(best.DeliveredLDayHigh), head(best.Delivery.LiftM), best.Cost.Text())
	if p.ScreeningOnly {
		text = "Screening only. " + text
	}
	if p.Demand.Known() {
		text += fmt.Sprintf(" Wanted: %s.", day(p.Demand))
	}
	return text + fmt.Sprintf(" Chance that it works as asked: %s.", best.Chance())
}

// Chance is the chance that a layout works, in whole per cent: the draws
// support no more.
func (l *Layout) Chance() string {
	if !l.ChanceWorks.Known() {
		return "not known"
	}
	return percent(l.ChanceWorks)
}

// nearestMiss is the first error's text, which says what is missing.
func (p *Plan) nearestMiss() string {
	for _, m := range p.Messages {
		if m.Level == string(finding.Error) {
			return Sentence(m.Text) + " " + Sentence(m.Hint)
		}
	}
	return "The reasons are listed below."
}

// LibraryVersions names the versions of GDAL and PROJ that this run uses.
func LibraryVersions() (gdal, proj string) { return dem.Versions(), dem.ProjVersion() }

// Sentence gives a text a capital and a full stop.
func Sentence(text string) string {
	if text == "" {
		return ""
	}
	text = strings.ToUpper(text[:1]) + text[1:]
	if !strings.HasSuffix(text, ".") && !strings.HasSuffix(text, "?") {
		text += "."
	}
	return text
}
