package web

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"
)

// TestStoppedPlanFreesTheTurn stops a page that waits while another computes,
// and one that computes: whoever comes next gets the turn.
func TestStoppedPlanFreesTheTurn(t *testing.T) {
	s := serve(t)
	start := func(ctx context.Context, body string) <-chan error {
		ended := make(chan error, 1)
		r, err := http.NewRequestWithContext(ctx, http.MethodPost, s.url+"/api/plan", bytes.NewBufferString(body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/json")
		go func() {
			response, err := http.DefaultClient.Do(r)
			if err == nil {
				response.Body.Close()
			}
			ended <- err
		}()
		return ended
	}
	busy := func() bool {
		s.mu.Lock()
		defer s.mu.Unlock()
		return s.busy > 0
	}
	wait := func(what string, until func() bool) {
		t.Helper()
		for range 3000 {
			if until() {
				return
			}
			time.Sleep(10 * time.Millisecond)
		}
		t.Fatal("waited in vain for " + what)
	}

	s.turn <- struct{}{} // somebody computes
	waiting, stop := context.WithCancel(t.Context())
	ended := start(waiting, `{`+emptyWish+`}`)
	wait("the request to queue", busy)
	stop()
	if err := <-ended; err == nil {
		t.Fatal("the stopped request was answered")
	}
	wait("the queue to empty", func() bool { return !busy() })
	<-s.turn

	computing, stop := context.WithCancel(t.Context())
	ended = start(computing, `{"units":"si","wish":{"pins":{},"tank":null,"readings":[]}}`) // other units: ground and all
	wait("the turn to be taken", func() bool { return len(s.turn) == 1 })
	stop()
	if err := <-ended; err == nil {
		t.Fatal("the stopped request was answered")
	}
	wait("the turn to be free", func() bool { return len(s.turn) == 0 && !busy() })

	if status, answer := s.post("/api/plan", json.RawMessage(`{`+emptyWish+`}`)); status != http.StatusOK {
		t.Errorf("afterwards: status %d: %.200s", status, answer)
	}
}

// TestOneAtATime holds that equal requests are worked out once: all get the
// answer of the first.
func TestOneAtATime(t *testing.T) {
	s := serve(t)
	answers := make([][]byte, 4)
	var all sync.WaitGroup
	for k := range answers {
		all.Go(func() {
			status, answer := s.post("/api/plan", json.RawMessage(`{`+emptyWish+`}`))
			if status != http.StatusOK {
				t.Errorf("status %d: %.200s", status, answer)
			}
			answers[k] = answer
		})
	}
	all.Wait()
	for k, a := range answers {
		if !bytes.Equal(a, answers[0]) {
			t.Errorf("answer %d differs", k)
		}
	}
	if n := len(s.now.Load().plans.keys); n != 1 {
		t.Errorf("%d plans are kept, want 1", n)
	}
}

// TestPanicIsTold lets a handler stumble: the page is told, the server goes on.
func TestPanicIsTold(t *testing.T) {
	h := recovered(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic("a fault of ours") }))
	for range 2 {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodPost, "http://127.0.0.1/api/plan", nil))
		if said := refusalOf(t, w); w.Code != http.StatusInternalServerError || said.Hint == "" {
			t.Errorf("status %d: %+v", w.Code, said)
		}
	}
}

// TestShelfForgets holds that no more than the last few are kept.
func TestShelfForgets(t *testing.T) {
	s := newShelf[int](2)
	s.put("a", 1)
	s.put("b", 2)
	s.get("a")
	s.put("c", 3)
	if _, ok := s.get("b"); ok {
		t.Error("the longest unused is still there")
	}
	for key, want := range map[string]int{"a": 1, "c": 3} {
		if got, ok := s.get(key); !ok || got != want {
			t.Errorf("%s is %d, %v", key, got, ok)
		}
	}
	if len(s.held) != 2 || len(s.keys) != 2 {
		t.Errorf("%d held, %d keys", len(s.held), len(s.keys))
	}
}
