package plan

import (
	"sync"

	"github.com/paulmach/orb"

	"route/internal/terrain"
)

// routes remembers the delivery lines that have been straightened: it takes
// milliseconds, and the same places come up again and again.
type routes struct {
	known sync.Map // terrain.Path by start
	ahead sync.Map // fields of which the lines along the creek are known
}

// straightened says whether the lines along the creek have been asked for over a
// field, and that they now have been.
func (r *routes) straightened(field *terrain.Field) bool {
	_, before := r.ahead.LoadOrStore(field, true)
	return before
}

// start is where a line begins, and over which field it leads.
type start struct {
	field *terrain.Field
	at    orb.Point
}

// from gives the line from a place to the tank.
func (r *routes) from(field *terrain.Field, at orb.Point) (terrain.Path, error) {
	if path, ok := r.known.Load(start{field, at}); ok {
		return path.(terrain.Path), nil
	}
	path, err := field.Route(at)
	if err == nil {
		r.known.Store(start{field, at}, path)
	}
	return path, err
}
