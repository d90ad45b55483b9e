package survey

import (
	"math"

	"route/internal/finding"
	"route/internal/quantity"
)

// Levelled is a reduced levelling book.
type Levelled struct {
	Points []LevelPoint
	SetUps int
	// MisclosureM is how far the book's own way back to a point, or its way to
	// a second benchmark, misses; NaN when it has neither. It is taken out of
	// the heights evenly by set-ups.
	MisclosureM float64
	// AllowedM is the misclosure that is put up with.
	AllowedM float64
	Findings []finding.Finding
}

// Closed says whether the book comes back to where its height is known.
func (l Levelled) Closed() bool { return written(l.MisclosureM) }

// Good says whether the misclosure, if there is one, is within what is allowed.
func (l Levelled) Good() bool { return !l.Closed() || math.Abs(l.MisclosureM) <= l.AllowedM }

// LevelPoint is a point whose height came out of the book.
type LevelPoint struct {
	LevelRow
	LevelM float64 // height; above the first point when no benchmark is known
	SetUp  int     // from which it was sighted first, from 1
}

// The misclosures that are put up with: 12 mm for a kilometre and growing with
// its root, third order levelling (Federal Geodetic Control Committee 1984,
// Standards and Specifications for Geodetic Control Networks; from memory), or
// 5 mm a set-up and growing with the root of their number where the way is not
// known (common practice, no source). On a short way the larger counts.
const (
	misclosurePerKM    = 0.012
	misclosurePerSetUp = 0.005
)

// Reduce works out the heights of a levelling book: the height of the line of
// sight is that of the point behind plus its backsight, and a point's that of
// the line of sight less its sight. It finds the misclosure and holds the rise,
// fall and heights in the book against its own. Heights are metres, above the
// first known benchmark's datum or, without one, above the first point.
func (b *LevelBook) Reduce() Levelled {
	l := Levelled{MisclosureM: math.NaN(), AllowedM: math.NaN()}
	height := 0.0
	sight := 0.0 // height of the line of sight
	for i, row := range b.Rows {
		p := LevelPoint{LevelRow: row, SetUp: max(1, l.SetUps)}
		switch {
		case written(row.InterM):
			height = sight - row.InterM
		case written(row.ForesightM):
			height = sight - row.ForesightM
		}
		p.LevelM = height
		if i == 0 || written(row.BacksightM) {
			l.SetUps++
			sight = height + row.BacksightM
		}
		l.Points = append(l.Points, p)
	}
	l.shiftToDatum()
	l.checkArithmetic(b.File)
	l.close(b.File)
	return l
}

// shiftToDatum makes the first benchmark's height what it is known to be.
func (l *Levelled) shiftToDatum() {
	for _, p := range l.Points {
		if written(p.KnownM) {
			shift := p.KnownM - p.LevelM
			for i := range l.Points {
				l.Points[i].LevelM += shift
			}
			return
		}
	}
}

// roundedM is by how much reduced values may differ from ours by rounding.
const roundedM = 0.002

// checkArithmetic holds rises, falls and heights in the book against ours.
// Heights are compared from line to line, so that one slip is told once.
func (l *Levelled) checkArithmetic(file string) {
	for i := 1; i < len(l.Points); i++ {
		p, before := l.Points[i], l.Points[i-1]
		rise := p.LevelM - before.LevelM
		booked := math.NaN()
		what := "the rise or fall"
		switch {
		case written(p.RiseM) && written(p.FallM):
			booked = p.RiseM - p.FallM
		case written(p.RiseM):
			booked = p.RiseM
		case written(p.FallM):
			booked = -p.FallM
		case written(p.HeightM) && written(before.HeightM):
			booked, what = p.HeightM-before.HeightM, "the step in height"
		}
		if math.Abs(booked-rise) > roundedM {
			f := finding.New(finding.Warning, "levels_arithmetic",
				what+" in the book is {0}, the staff readings give {1}; the readings count", "check the readings of this line against the paper",
				quantity.Metres(booked), quantity.Metres(rise)).In(file)
			f.Line = p.Line
			l.Findings = append(l.Findings, f)
		}
	}
}

// close finds the misclosure at the last line whose height is known another
// way, and takes it out evenly by set-ups.
func (l *Levelled) close(file string) {
	first, last := l.closure()
	if last < 0 {
		l.Findings = append(l.Findings, finding.New(finding.Note, "levels_open",
			"the levelling does not come back to its first point or to a second benchmark, so that a misread staff cannot show", "level back to the start").In(file))
		return
	}
	want := l.Points[first].LevelM
	if written(l.Points[last].KnownM) {
		want = l.Points[last].KnownM
	}
	l.MisclosureM = l.Points[last].LevelM - want
	ways := l.setUpsTo(last) - l.setUpsTo(first)
	l.AllowedM = max(misclosurePerSetUp*math.Sqrt(float64(ways)), misclosurePerKM*math.Sqrt(l.wayKM(first, last)))
	if !l.Good() {
		f := finding.New(finding.Warning, "levels_misclosure",
			"the levelling misses by {0} where {1} is put up with", "look for a misread staff, or level again",
			quantity.Metres(l.MisclosureM), quantity.Metres(l.AllowedM)).In(file)
		f.Line = l.Points[last].Line
		l.Findings = append(l.Findings, f)
	}
	for i := range l.Points {
		share := float64(l.setUpsTo(i)-l.setUpsTo(first)) / float64(ways)
		l.Points[i].LevelM -= l.MisclosureM * min(1, max(0, share))
	}
}

// setUpsTo is how many set-ups lie between the first point and another.
func (l *Levelled) setUpsTo(i int) int {
	if i == 0 {
		return 0
	}
	return l.Points[i].SetUp
}

// closure finds the two lines between which the book closes: the first with a
// known height and the last other one, or the same point at the start and at
// the end.
func (l *Levelled) closure() (first, last int) {
	first, last = -1, -1
	for i, p := range l.Points {
		switch {
		case !written(p.KnownM):
		case first < 0:
			first = i
		default:
			last = i
		}
	}
	if last >= 0 && l.setUpsTo(last) > l.setUpsTo(first) {
		return first, last
	}
	end := len(l.Points) - 1
	if name := l.Points[0].Point; name != "" && l.Points[end].Point == name {
		return 0, end
	}
	return -1, -1
}

// wayKM is the length of the way as far as its stations tell, km.
func (l *Levelled) wayKM(first, last int) float64 {
	way, before := 0.0, math.NaN()
	for _, p := range l.Points[first : last+1] {
		if !written(p.StationM) {
			continue
		}
		if written(before) {
			way += math.Abs(p.StationM - before)
		}
		before = p.StationM
	}
	return way / 1000
}
