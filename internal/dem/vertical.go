package dem

import (
	"fmt"
	"math"
	"strings"

	"route/internal/finding"
)

// Lengths in metres, both exact: the international foot (1959) and the US
// survey foot, 1200/3937 m (Mendenhall order of 1893, as NIST SP 811 B.6).
const (
	footM       = 0.3048
	surveyFootM = 1200.0 / 3937.0
)

// heightUnit is a unit of height: its name for people and its length.
type heightUnit struct {
	name   string
	metres float64
}

var (
	unitMetre      = heightUnit{"metre", 1}
	unitFoot       = heightUnit{"foot", footM}
	unitSurveyFoot = heightUnit{"US survey foot", surveyFootM}
)

// unitByOption reads the words of --z-unit.
func unitByOption(text string) (heightUnit, bool) {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "m":
		return unitMetre, true
	case "ft":
		return unitFoot, true
	case "us-ft":
		return unitSurveyFoot, true
	}
	return heightUnit{}, false
}

// unitByName reads the names that files give to units of length.
func unitByName(text string) (heightUnit, bool) {
	name := strings.ToLower(strings.TrimSpace(text))
	name = strings.NewReplacer("_", " ", "-", " ", ".", "").Replace(name)
	switch name {
	case "m", "metre", "metres", "meter", "meters", "mtr":
		return unitMetre, true
	case "dm", "decimetre", "decimetres", "decimeter", "decimeters":
		return heightUnit{"decimetre", 0.1}, true
	case "cm", "centimetre", "centimetres", "centimeter", "centimeters":
		return heightUnit{"centimetre", 0.01}, true
	case "mm", "millimetre", "millimetres", "millimeter", "millimeters":
		return heightUnit{"millimetre", 0.001}, true
	case "ft", "foot", "feet", "international foot", "international feet", "foot international", "ifoot", "foot intl":
		return unitFoot, true
	case "us ft", "ft us", "ftus", "usft", "sft", "us survey foot", "us survey feet", "us foot", "foot us", "survey foot", "survey feet", "feet us":
		return unitSurveyFoot, true
	}
	return heightUnit{}, false
}

// unitOfCRS reads the unit of a vertical CRS, by its length when it has one.
func unitOfCRS(c crs) (heightUnit, bool) {
	if c.perVertical > 0 {
		for _, u := range []heightUnit{unitMetre, unitSurveyFoot, unitFoot} {
			if math.Abs(c.perVertical/u.metres-1) < 5e-7 { // the two feet differ by 2e-6
				return u, true
			}
		}
		return heightUnit{c.verticalUnit, c.perVertical}, true
	}
	return unitByName(c.verticalUnit)
}

// verticalFacts are what a raster says about the unit of its heights.
type verticalFacts struct {
	bandUnit string // of the band, as the file spells it
	crs      crs
	driver   string
}

// settleUnit decides the unit of height. The person's word wins over the
// file's; the band and the vertical CRS must agree; nobody guesses.
func settleUnit(v verticalFacts, option string) (u heightUnit, how string, findings []finding.Finding, fault *finding.Fault) {
	declared, how, fault := v.declared()
	if asked, ok := unitByOption(option); ok {
		if fault == nil && declared.metres > 0 && math.Abs(declared.metres/asked.metres-1) > 5e-7 {
			findings = append(findings, finding.New(finding.Warning, "vertical_unit_overridden",
				fmt.Sprintf("heights are taken as %s as asked, though %s says %s", plural(asked.name), how, plural(declared.name)),
				"drop --z-unit (z_unit: in the site file) to go by the file"))
			return asked, fmt.Sprintf("asked for; %s says %s", how, declared.name), findings, nil
		}
		return asked, "asked for", findings, nil
	}
	if fault != nil {
		return heightUnit{}, "", nil, fault
	}
	if declared.metres == 0 {
		return heightUnit{}, "", nil, &finding.Fault{Code: "vertical_unit_unknown",
			Text: "the file does not say whether its heights are metres or feet" + v.oddName(),
			Hint: "say --z-unit m, ft or us-ft, or z_unit: in the site file; the data's own description has it"}
	}
	return declared, how, nil, nil
}

// declared is the unit that the file itself states, and where it does.
func (v verticalFacts) declared() (u heightUnit, how string, fault *finding.Fault) {
	byBand, hasBand := unitByName(v.bandUnit)
	byCRS, hasCRS := unitOfCRS(v.crs)
	switch {
	case hasBand && hasCRS && math.Abs(byBand.metres/byCRS.metres-1) > 5e-6:
		return heightUnit{}, "", &finding.Fault{Code: "vertical_unit_conflict",
			Text: fmt.Sprintf("the band says that heights are %s, the vertical CRS %q says %s", plural(byBand.name), v.crs.vertical, plural(byCRS.name)),
			Hint: "find out which is right and say --z-unit m, ft or us-ft, or z_unit: in the site file"}
	case hasCRS: // finer than the band, which often says just "foot"
		return byCRS, "the vertical CRS", nil
	case hasBand:
		return byBand, "the band", nil
	case v.driver == "SRTMHGT": // heights of .hgt files are metres by definition
		return unitMetre, "the file format", nil
	}
	return heightUnit{}, "", nil
}

// oddName quotes a unit that the file states but that is none of length.
func (v verticalFacts) oddName() string {
	if _, known := unitByName(v.bandUnit); known || strings.TrimSpace(v.bandUnit) == "" {
		return ""
	}
	return fmt.Sprintf(" (its unit reads %q)", v.bandUnit)
}

// zero names the vertical datum, "" when the file does not state it.
func (v verticalFacts) zero() string {
	switch {
	case v.crs.vertical != "":
		return v.crs.vertical
	case v.driver == "SRTMHGT": // by the format's definition
		return "EGM96 geoid"
	}
	return ""
}

func plural(unit string) string {
	switch {
	case strings.HasSuffix(unit, "foot"):
		return strings.TrimSuffix(unit, "foot") + "feet"
	case unit == "" || strings.HasSuffix(unit, "s"):
		return unit
	}
	return unit + "s"
}
