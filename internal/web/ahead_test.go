package web

import (
	"encoding/json"
	"net/http"
	"testing"
)

// TestLookingAheadChangesNothing drags the pump while the server looks ahead:
// the answers are those of a server that never did, and
// closing ends the looking.
func TestLookingAheadChangesNothing(t *testing.T) {
	with, without := serve(t), serve(t)
	without.ahead.stop()
	if status, said := with.post("/api/plan", json.RawMessage(`{`+emptyWish+`}`)); status != http.StatusOK {
		t.Fatalf("%d %s", status, said)
	}
	if with.ahead.of == nil {
		t.Fatal("nothing is prepared after a plan was asked for")
	}
	same := func(pump float64) {
		t.Helper()
		_, got := with.post("/api/try", json.RawMessage(trying(pump)))
		_, want := without.post("/api/try", json.RawMessage(trying(pump)))
		if string(got) != string(want) {
			t.Errorf("with the pump at %.1f m: %s; looked ahead %s", pump, want, got)
		}
	}
	same(706)
	same(709.5)
	same(820) // beyond what is prepared
	if with.ahead.pumpM != 820 {
		t.Errorf("what is prepared lies around %.1f m, the pump at 820 m", with.ahead.pumpM)
	}
	with.Close()
	with.ahead.lookAt(with.now.Load().desk, 100)
	if with.ahead.pumpM == 100 {
		t.Error("a closed server goes on")
	}
}
