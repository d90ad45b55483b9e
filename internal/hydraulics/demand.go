package hydraulics

import (
	"fmt"
	"slices"
)

// litresADay in m³/s, and US gallons a day.
const (
	litreADay  = 1e-3 / 86400
	gallonADay = 3.785411784e-3 / 86400
)

// Use is a use of water with what one of it takes a day.
type Use struct {
	Name             string
	Per              string  // what is counted: "person", "head", "m²"
	Low, Usual, High float64 // m³/s for one
	Source           string
	LowWhy, HighWhy  string // what the ends stand for
}

const (
	sourcePeople   = "UNDP Human Development Report 2006, as quoted by the Open University: 20 L a day at the least, 50 to 100 for most needs; Howard & Bartram, WHO 2003/2020"
	sourceKState   = "Kansas State University, Livestock Watering Handbook, table 1"
	sourceDistrict = "Crawford County Conservation District, livestock water"
	sourceHandbook = "old stock handbook, as reprinted"
	sourcePractice = "common practice, no source"
)

var uses = []Use{
	{"person", "person", 20 * litreADay, 50 * litreADay, 100 * litreADay, sourcePeople, "least", "most needs"},
	{"person, survival", "person", 7.5 * litreADay, 15 * litreADay, 15 * litreADay, "Sphere handbook", "drinking and food", "with hygiene"},
	{"beef cow, dry or bred", "head", 6 * gallonADay, 10 * gallonADay, 15 * gallonADay, sourceKState, "cool", "hot"},
	{"beef cow, nursing", "head", 11.4 * gallonADay, 14.5 * gallonADay, 17.9 * gallonADay, sourceKState, "40 °F", "80 °F"},
	{"cow and calf", "pair", 12 * gallonADay, 16 * gallonADay, 20 * gallonADay, sourceDistrict, "cool", "hot"},
	{"dairy cow", "head", 15 * gallonADay, 25 * gallonADay, 40 * gallonADay, sourceKState, "dry", "milking in heat"},
	{"stocker", "head", 6 * gallonADay, 10 * gallonADay, 14 * gallonADay, sourceDistrict, "cool", "hot"},
	{"horse", "head", 8 * gallonADay, 10 * gallonADay, 14 * gallonADay, sourceKState + "; " + sourceDistrict, "idle", "working in heat"},
	{"sheep or goat", "head", 2 * gallonADay, 2.5 * gallonADay, 3 * gallonADay, sourceDistrict, "cool", "hot"},
	{"laying hens", "100 birds", 5 * gallonADay, 6.25 * gallonADay, 9 * gallonADay, sourceHandbook, "cool", "90 °F"},
	{"garden", "m²", 2 * litreADay, 4 * litreADay, 7 * litreADay, sourcePractice, "cool, mulched", "hot and dry"},
}

// Uses lists what UseByName knows.
func Uses() []Use { return slices.Clone(uses) }

// UseByName finds a use by the name in Uses.
func UseByName(name string) (Use, error) {
	for _, u := range uses {
		if u.Name == name {
			return u, nil
		}
	}
	return Use{}, fmt.Errorf("hydraulics: no use of water is called %q", name)
}

// Demand is how much of a use there is.
type Demand struct {
	Use   Use
	Count float64
}

// TotalDemand sums up the low, usual and high demand in m³/s.
func TotalDemand(list []Demand) (low, usual, high float64) {
	for _, d := range list {
		low += d.Count * d.Use.Low
		usual += d.Count * d.Use.Usual
		high += d.Count * d.Use.High
	}
	return low, usual, high
}

// TankVolume is the storage in m³ that holds a demand (m³/s) for some days with
// nothing coming in. One to three days are usual (from memory).
func TankVolume(demand, days float64) float64 { return demand * 86400 * days }
