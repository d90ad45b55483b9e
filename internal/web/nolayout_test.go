package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// TestPageWithoutALayout asks for a plan that no layout can keep, more head than
// the creek has: the page is told why, where the miss was least and where the
// tank stands, and a pump put there is a layout with a broken limit in words.
func TestPageWithoutALayout(t *testing.T) {
	file := siteCopy(t)
	site := quick(t, file)
	if err := site.Set("limits.drive_head.min", "30 ft"); err != nil {
		t.Fatal(err)
	}
	server, err := New(t.Context(), site, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(server.Close)
	over := httptest.NewServer(server.Handler())
	t.Cleanup(over.Close)
	s := &served{server, t, over.URL, file}

	status, said := s.post("/api/plan", json.RawMessage(`{`+emptyWish+`}`))
	var v view
	if err := json.Unmarshal(said, &v); err != nil || status != http.StatusOK {
		t.Fatalf("%d %v: %.300s", status, err, said)
	}
	if len(v.Cards) > 0 || len(v.Misses) == 0 {
		t.Fatalf("%d layouts and %d misses where nothing can work", len(v.Cards), len(v.Misses))
	}
	if v.Tank.At == (point{}) {
		t.Error("the tank has no place without a layout")
	}
	for _, m := range v.Misses {
		if !m.StationM.Known() || !strings.Contains(m.Text, "drive head") {
			continue
		}
		if !strings.Contains(m.Text, "30.0 ft") || !strings.Contains(m.Where, "along the creek") {
			t.Errorf("the miss says %q, %q", m.Text, m.Where)
		}
		status, said := s.post("/api/try", json.RawMessage(fmt.Sprintf(`{%s,"places":{"pump":%v}}`, emptyWish, m.StationM)))
		var c card
		if err := json.Unmarshal(said, &c); err != nil || status != http.StatusOK {
			t.Fatalf("%d %v: %.300s", status, err, said)
		}
		roles := map[string]bool{}
		for _, p := range c.Places {
			roles[p.Role] = true
		}
		if c.Works || !roles["intake"] || !roles["standpipe"] || !roles["pump"] {
			t.Errorf("a pump put at the miss gives %+v", c)
		}
		for _, w := range c.Words {
			if w.Place == "Pump" && strings.Contains(w.Text, "30.0 ft") {
				return
			}
		}
		t.Fatalf("what is broken is not said: %+v", c.Words)
	}
	t.Errorf("no miss tells of the drive head: %+v", v.Misses)
}
