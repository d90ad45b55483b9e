package web

import (
	"encoding/json"
	"net/http"
	"testing"

	"route/internal/plan"
)

// FuzzRequest sends any bytes to everything that takes a body and is answered
// at once: always a status, always JSON, never a panic. What takes long is
// planned once and then stands on the shelf; a wish that nobody planned is not
// followed further than its check.
func FuzzRequest(f *testing.F) {
	for _, body := range []string{`{` + emptyWish + `}`, trying(706), trying(1e6), `{` + emptyWish + `,"at":[0,0]}`, `{` + emptyWish + `,"point":1}`, `{"units":"us","wish":{"pins":{"pump":"none"}}}`, `[]`, `{"units":1}`, "\xff", ``} {
		for path := range len(fuzzPaths) {
			f.Add(uint8(path), []byte(body))
		}
	}
	h := handler(f)
	known := ask(h, "/api/plan", `{`+emptyWish+`}`)
	if known.Code != http.StatusOK {
		f.Fatalf("status %d: %s", known.Code, known.Body)
	}
	f.Fuzz(func(t *testing.T, path uint8, body []byte) {
		// A valid wish other than the empty one would plan for seconds.
		var a asked
		if json.Unmarshal(body, &a) == nil && a.Wish.check() == nil && (len(a.Wish.Pins) > 0 || a.Wish.Tank != nil || len(a.Wish.Readings) > 0 || a.Units == "si") {
			a.Wish.ground(shared.now.Load().desk, a.Units)
			a.Wish.pins()
			return
		}
		w := ask(h, fuzzPaths[int(path)%len(fuzzPaths)], string(body))
		if w.Code < 200 || w.Code >= 600 || w.Code == http.StatusInternalServerError {
			t.Fatalf("status %d: %.300s", w.Code, w.Body)
		}
		if w.Code != http.StatusOK {
			refusalOf(t, w)
		} else if !json.Valid(w.Body.Bytes()) {
			t.Fatalf("no JSON: %.300s", w.Body)
		}
	})
}

var fuzzPaths = []string{"/api/plan", "/api/try", "/api/spot", "/api/front", "/files/nothing"}

// FuzzWish holds that whatever passes the check stays one line of YAML inside
// its quotes: a reading is read back as it was given or refused, and a wish
// comes back from its JSON as it was.
func FuzzWish(f *testing.F) {
	f.Add("1 m", "9 m", "1.2 m", "0.05 m", "level", 12.5, false)
	f.Add(`1 m", levels: "x`, "9 m\n- a", "{}", "#", "\\", 1e9, true)
	f.Add("\u2028", "\x00", "'", "*a", "&b !!int", -0.0, true)
	f.Fuzz(func(t *testing.T, from, to, drop, sigma, by string, station float64, none bool) {
		w := wish{Pins: map[string]pinned{"pump": {StationM: station, None: none}}, Readings: []reading{{from, to, drop, sigma, by}}}
		if w.check() != nil {
			return
		}
		r, err := plan.ParseFieldReading(w.Readings[0].entry())
		if err == nil && r.Levels != "" {
			t.Fatalf("%+v names the file %q", w.Readings[0], r.Levels)
		}
		if none {
			w.Pins["pump"] = pinned{None: true}
		}
		text, err := json.Marshal(w)
		if err != nil {
			t.Fatal(err)
		}
		var again wish
		if err := json.Unmarshal(text, &again); err != nil || again.Pins["pump"] != w.Pins["pump"] {
			t.Fatalf("%s is read as %+v (%v)", text, again, err)
		}
	})
}
