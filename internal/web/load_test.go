package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// loadSeconds is how long the load lasts; ROUTE_LOAD_SECONDS=60 tries longer.
func loadSeconds(t *testing.T) time.Duration {
	t.Helper()
	said := os.Getenv("ROUTE_LOAD_SECONDS")
	if said == "" {
		return 5 * time.Second
	}
	n, err := strconv.Atoi(said)
	if err != nil || n < 1 {
		t.Fatalf("ROUTE_LOAD_SECONDS=%q is no number of seconds", said)
	}
	return time.Duration(n) * time.Second
}

// TestManyDrag has 200 pages drag the pump at once: none sees an error, and
// memory and goroutines come back to where they were.
func TestManyDrag(t *testing.T) {
	const pages = 200
	s := serve(t)
	transport := &http.Transport{MaxIdleConnsPerHost: pages}
	client := &http.Client{Transport: transport}
	drag := func(pump float64) error {
		response, err := client.Post(s.url+"/api/try", "application/json", bytes.NewBufferString(trying(pump)))
		if err != nil {
			return err
		}
		defer response.Body.Close()
		content, err := io.ReadAll(response.Body)
		if err != nil {
			return err
		}
		var c card
		if response.StatusCode != http.StatusOK || json.Unmarshal(content, &c) != nil || c.ID != "mine" || len(c.Figures) == 0 {
			return fmt.Errorf("status %d: %.200s", response.StatusCode, content)
		}
		return nil
	}
	if err := drag(706); err != nil {
		t.Fatal(err)
	}
	heap := func() uint64 {
		transport.CloseIdleConnections()
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	before, goroutines := heap(), runtime.NumGoroutine()

	var answers, peak atomic.Int64
	end := time.Now().Add(loadSeconds(t))
	var all sync.WaitGroup
	for page := range pages {
		all.Go(func() {
			for k := 0; time.Now().Before(end); k++ {
				if err := drag(700 + math.Mod(float64(page)*0.37+0.5*float64(k), 20)); err != nil {
					t.Errorf("page %d, move %d: %v", page, k, err)
					return
				}
				if answers.Add(1)%500 == 0 {
					var m runtime.MemStats
					runtime.ReadMemStats(&m)
					peak.Store(max(peak.Load(), int64(m.HeapAlloc)))
				}
			}
		})
	}
	all.Wait()
	after := heap()
	for range 200 { // connections end a little after their last answer
		if runtime.NumGoroutine() <= goroutines+5 {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Logf("%d answers to %d pages; heap %d MB before, at most %d MB, %d MB after", answers.Load(), pages, before>>20, peak.Load()>>20, after>>20)
	if answers.Load() < pages {
		t.Errorf("%d answers to %d pages", answers.Load(), pages)
	}
	if after > before+(32<<20) {
		t.Errorf("the heap grew from %d to %d MB", before>>20, after>>20)
	}
	if peak.Load() > int64(before)+(512<<20) {
		t.Errorf("the heap reached %d MB", peak.Load()>>20)
	}
	if n := runtime.NumGoroutine(); n > goroutines+5 {
		t.Errorf("%d goroutines, %d before", n, goroutines)
	}
}

// trying is a try of the first layout of Fernhollow with the pump elsewhere.
func trying(pumpM float64) string {
	return fmt.Sprintf(`{%s,"places":{"intake":612.05,"settling_box":"none","standpipe":698.15,"pump":%.2f}}`, emptyWish, pumpM)
}

// BenchmarkTry is what a page waits for when a hand moves the pump along the
// creek of Fernhollow, 1 km long: one try and its answer over a connection,
// each at a place where no pump was tried before. It is shown for a page that
// has been looked at for some seconds, and for one whose pump is moved at once.
func BenchmarkTry(b *testing.B) {
	for _, looked := range []bool{true, false} {
		b.Run(map[bool]string{true: "LookedAt", false: "AtOnce"}[looked], func(b *testing.B) {
			s := serve(b)
			if status, said := s.post("/api/plan", json.RawMessage(`{`+emptyWish+`}`)); status != http.StatusOK {
				b.Fatalf("%d %s", status, said)
			}
			if looked {
				s.ahead.done.Wait()
			} else {
				s.ahead.stop()
			}
			client := &http.Client{}
			var took []time.Duration
			once := func(k int) {
				start := time.Now()
				response, err := client.Post(s.url+"/api/try", "application/json", bytes.NewBufferString(trying(700+0.5*float64(k%200))))
				if err != nil {
					b.Fatal(err)
				}
				if _, err := io.Copy(io.Discard, response.Body); err != nil || response.StatusCode != http.StatusOK {
					b.Fatal(response.StatusCode, err)
				}
				response.Body.Close()
				took = append(took, time.Since(start))
			}
			once(0)
			took = nil
			for k := 1; b.Loop(); k++ {
				once(k)
			}
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "ms-p50")
			b.ReportMetric(float64(took[len(took)*95/100].Microseconds())/1000, "ms-p95")
		})
	}
}
