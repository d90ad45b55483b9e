package web

import (
	"context"
	"math"
	"sync"

	"route/internal/plan"
)

// aheadM is how far from the middle of what is prepared a pump may be moved
// before more is prepared around it.
const aheadM = 50

// ahead prepares, while the user looks, what a drag of the pump will ask for.
// One goroutine does so at a time, for the place last asked for.
type ahead struct {
	mu     sync.Mutex
	of     *plan.Desk // prepared, or being so
	pumpM  float64
	closed bool
	cancel context.CancelFunc
	done   sync.WaitGroup
}

// lookAt prepares trials at a desk around a place of the pump.
func (a *ahead) lookAt(d *plan.Desk, pumpM float64) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.closed || a.of == d && math.Abs(a.pumpM-pumpM) <= aheadM {
		return
	}
	if a.cancel != nil {
		a.cancel()
	}
	ctx, cancel := context.WithCancel(context.Background())
	a.of, a.pumpM, a.cancel = d, pumpM, cancel
	a.done.Go(func() {
		defer cancel()
		// What cannot be prepared is met again by the trial, which tells of it.
		_ = d.LookAhead(ctx, pumpM)
	})
}

// stop ends what is being prepared and waits for its end; nothing is prepared
// any more.
func (a *ahead) stop() {
	a.mu.Lock()
	a.closed = true
	if a.cancel != nil {
		a.cancel()
	}
	a.mu.Unlock()
	a.done.Wait()
}
