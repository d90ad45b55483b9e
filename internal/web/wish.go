package web

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"

	"github.com/paulmach/orb"

	"route/internal/finding"
	"route/internal/plan"
)

// wish is what the user has put in place on the page.
type wish struct {
	Pins     map[string]pinned `json:"pins"`
	Tank     *point            `json:"tank"` // nil where the site has it
	Readings []reading         `json:"readings"`
}

// pinned is a station in metres, or none.
type pinned struct {
	StationM float64
	None     bool
}

// UnmarshalJSON reads a number or "none".
func (p *pinned) UnmarshalJSON(text []byte) error {
	if string(text) == `"none"` {
		p.None = true
		return nil
	}
	return json.Unmarshal(text, &p.StationM)
}

// MarshalJSON writes what UnmarshalJSON reads.
func (p pinned) MarshalJSON() ([]byte, error) {
	if p.None {
		return []byte(`"none"`), nil
	}
	return json.Marshal(p.StationM)
}

// text is the pin as the site file has it.
func (p pinned) text() string {
	if p.None {
		return "none"
	}
	return strconv.FormatFloat(p.StationM, 'f', 2, 64) + " m"
}

// reading is a measured drop between two places along the creek.
type reading struct {
	From  string `json:"from"`
	To    string `json:"to"`
	Drop  string `json:"drop"`
	Sigma string `json:"sigma"`
	By    string `json:"by"`
}

// entry is the reading as it stands in the site file.
func (r reading) entry() string {
	text := fmt.Sprintf("{drop: %s, from: %s, to: %s", quoted(r.Drop), quoted(r.From), quoted(r.To))
	if r.By != "" {
		text += ", by: " + quoted(r.By)
	}
	if r.Sigma != "" {
		text += ", sigma: " + quoted(r.Sigma)
	}
	return text + "}"
}

// quoted is a text in the quotes of YAML, whose double-quoted form holds that
// of JSON.
func quoted(text string) string {
	q, err := json.Marshal(text)
	if err != nil {
		panic("a string is always JSON")
	}
	return string(q)
}

// roles are the places along the creek, by their keys in the site file.
var roles = []string{"intake", "settling_box", "standpipe", "pump"}

const (
	maxReadings    = 50
	maxReadingText = 80
)

// check refuses a wish that no page of ours sends.
func (w *wish) check() error {
	bad := func(format string, args ...any) error {
		return &finding.Fault{Code: "bad_request", Text: fmt.Sprintf(format, args...), Hint: "reload the page"}
	}
	for role, p := range w.Pins {
		known := false
		for _, r := range roles {
			known = known || r == role
		}
		if !known || !finite(p.StationM) {
			return bad("%q cannot be held in place", role)
		}
	}
	if w.Tank != nil && (!finite(w.Tank[0]) || !finite(w.Tank[1])) {
		return bad("the tank is nowhere")
	}
	if len(w.Readings) > maxReadings {
		return bad("%d readings are too many for the page: put them into the site file", len(w.Readings))
	}
	for _, r := range w.Readings {
		for _, text := range []string{r.From, r.To, r.Drop, r.Sigma, r.By} {
			if len(text) > maxReadingText {
				return bad("a reading is too long")
			}
		}
	}
	return nil
}

func finite(v float64) bool { return !math.IsNaN(v) && math.Abs(v) < 1e7 }

// ground is what of a wish changes the ground under the layouts.
func (w *wish) ground(base *plan.Desk, units string) plan.Changes {
	c := plan.Changes{Units: units}
	if w.Tank != nil {
		spot := base.Spot(orb.Point(*w.Tank))
		c.Tank = spot.LatLon()
	}
	for _, r := range w.Readings {
		c.Field = append(c.Field, r.entry())
	}
	return c
}

// pins is what of a wish holds places; the rest is left to the search.
func (w *wish) pins() plan.Changes {
	c := plan.Changes{Set: map[string]string{}}
	for _, role := range roles {
		c.Set["pins."+role] = "auto"
		if p, ok := w.Pins[role]; ok {
			c.Set["pins."+role] = p.text()
		}
	}
	return c
}
