package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"mime"
	"net/http"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/paulmach/orb"

	"route/internal/export"
	"route/internal/packet"
	"route/internal/plan"
	"route/internal/quantity"
)

// How much is kept at hand: grounds by tank, readings and units, and finished
// plans by what is held in place as well.
const (
	keptGrounds = 6
	keptPlans   = 12
)

// Server is the map page of one site.
type Server struct {
	record func(plan.Progress)
	now    atomic.Pointer[site] // replaced when the site file is saved
	// turn is taken by whoever computes what takes long: one at a time.
	turn chan struct{}

	mu    sync.Mutex
	at    plan.Progress
	busy  int          // requests that wait for or take the turn
	desks []*plan.Desk // to be closed

	ahead ahead
}

// site is what is known of the site file as it stands.
type site struct {
	desk    *plan.Desk
	scene   []byte
	relief  []byte
	grounds *shelf[*plan.Desk]
	plans   *shelf[*plan.Plan]
}

// New prepares the page of a site: it reads the files and works out the ground.
// record, which may be nil, follows it. Close the server when done.
func New(ctx context.Context, from *plan.Site, record func(step string, done, total int)) (*Server, error) {
	s := &Server{turn: make(chan struct{}, 1)}
	s.record = func(at plan.Progress) {
		s.mu.Lock()
		s.at = at
		s.mu.Unlock()
		if record != nil {
			record(at.Step, at.Done, at.Total)
		}
	}
	err := s.prepare(ctx, from)
	record = nil // the terminal follows the start only
	if err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// prepare reads a site and shows it from now on. Requests that are being
// answered keep what they have.
func (s *Server) prepare(ctx context.Context, from *plan.Site) error {
	if err := from.KeepsToFolder(); err != nil {
		return err
	}
	desk, err := plan.Prepare(ctx, from, s.record)
	if err != nil {
		return err
	}
	s.mu.Lock()
	s.desks = append(s.desks, desk)
	s.mu.Unlock()
	scene := desk.Scene()
	n := &site{desk: desk, grounds: newShelf[*plan.Desk](keptGrounds), plans: newShelf[*plan.Plan](keptPlans)}
	if n.relief, err = reliefPNG(scene); err != nil {
		return err
	}
	shown, err := newSceneView(desk, scene)
	if err != nil {
		return err
	}
	if n.scene, err = json.Marshal(shown); err != nil {
		return err
	}
	s.now.Store(n)
	return nil
}

// Close lets go of the site's files.
func (s *Server) Close() {
	s.ahead.stop()
	for _, d := range s.desks {
		d.Close()
	}
}

// Handler answers the page. A fault of ours while answering one request is
// told to that page and to no other.
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /", pageFiles())
	mux.HandleFunc("GET /api/scene", func(w http.ResponseWriter, _ *http.Request) { send(w, "application/json", s.now.Load().scene) })
	mux.HandleFunc("GET /api/relief.png", func(w http.ResponseWriter, _ *http.Request) { send(w, "image/png", s.now.Load().relief) })
	mux.HandleFunc("GET /api/progress", s.progress)
	mux.HandleFunc("POST /api/plan", s.plan)
	mux.HandleFunc("POST /api/try", s.try)
	mux.HandleFunc("POST /api/front", s.front)
	mux.HandleFunc("POST /api/spot", s.spot)
	mux.HandleFunc("POST /api/save", s.save)
	mux.HandleFunc("POST /files/{name}", s.file)
	return guard(recovered(mux))
}

func recovered(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			if p := recover(); p != nil {
				refuse(w, http.StatusInternalServerError, "failed", fmt.Sprintf("the program stumbled over this request: %v", p), "the page and the site file are as they were; please report it")
			}
		}()
		next.ServeHTTP(w, r)
	})
}

func send(w http.ResponseWriter, kind string, content []byte) {
	w.Header().Set("Content-Type", kind)
	_, _ = w.Write(content) // a page that has gone needs no answer
}

// asked is the body of every request that stands on a state of the page.
type asked struct {
	Units  string            `json:"units"`
	Wish   wish              `json:"wish"`
	Places map[string]pinned `json:"places,omitempty"` // of a trial
	At     *point            `json:"at,omitempty"`     // of a spot
	Point  int               `json:"point,omitempty"`  // of the front, from 1
}

// read takes a request and checks it.
func (s *Server) read(w http.ResponseWriter, r *http.Request) (*asked, bool) {
	var a asked
	if !read(w, r, &a) {
		return nil, false
	}
	trial := wish{Pins: a.Places}
	if err := errors.Join(a.Wish.check(), trial.check()); err != nil {
		fail(w, err)
		return nil, false
	}
	if a.Units != "us" && a.Units != "si" {
		refuse(w, http.StatusUnprocessableEntity, "bad_request", "units are us or si", "reload the page")
		return nil, false
	}
	return &a, true
}

// takeTurn waits until nobody else computes; false when the page has gone.
func (s *Server) takeTurn(ctx context.Context) bool {
	s.mu.Lock()
	s.busy++
	s.mu.Unlock()
	select {
	case s.turn <- struct{}{}:
		return true
	case <-ctx.Done():
		s.leave()
		return false
	}
}

func (s *Server) leave() {
	s.mu.Lock()
	s.busy--
	s.mu.Unlock()
}

func (s *Server) giveTurn() {
	s.leave()
	<-s.turn
}

func (s *Server) progress(w http.ResponseWriter, _ *http.Request) {
	s.mu.Lock()
	at, busy := s.at, s.busy > 0
	s.mu.Unlock()
	answer(w, http.StatusOK, map[string]any{"step": at.Step, "done": at.Done, "total": at.Total, "busy": busy})
}

// keyOf names a state; equal states have equal names.
func keyOf(parts ...any) string {
	text, err := json.Marshal(parts)
	if err != nil {
		panic("a checked wish is always JSON")
	}
	return string(text)
}

// ground names the ground of a request.
func (a *asked) ground() string { return keyOf(a.Units, a.Wish.Tank, a.Wish.Readings) }

// groundFor is the desk with the tank and the readings of a wish.
func (s *Server) groundFor(ctx context.Context, n *site, a *asked) (*plan.Desk, error) {
	key := a.ground()
	if d, ok := n.grounds.get(key); ok {
		return d, nil
	}
	if !s.takeTurn(ctx) {
		return nil, ctx.Err()
	}
	defer s.giveTurn()
	if d, ok := n.grounds.get(key); ok { // made while this one waited
		return d, nil
	}
	d, err := n.desk.With(ctx, a.Wish.ground(n.desk, a.Units))
	if err != nil {
		return nil, err
	}
	n.grounds.put(key, d)
	return d, nil
}

// planFor is the plan of a wish.
func (s *Server) planFor(ctx context.Context, n *site, a *asked) (*plan.Plan, error) {
	key := keyOf(a.Units, a.Wish)
	if p, ok := n.plans.get(key); ok {
		return p, nil
	}
	d, err := s.groundFor(ctx, n, a)
	if err != nil {
		return nil, err
	}
	if !s.takeTurn(ctx) {
		return nil, ctx.Err()
	}
	defer s.giveTurn()
	p, err := d.Plan(ctx, a.Wish.pins())
	if err != nil {
		return nil, err
	}
	n.plans.put(key, p)
	return p, nil
}

func (s *Server) plan(w http.ResponseWriter, r *http.Request) {
	n := s.now.Load()
	a, ok := s.read(w, r)
	if !ok {
		return
	}
	p, err := s.planFor(r.Context(), n, a)
	if err != nil {
		fail(w, err)
		return
	}
	if d, ok := n.grounds.get(a.ground()); ok && len(p.Layouts) > 0 {
		s.ahead.lookAt(d, float64(p.Layouts[0].Pump.StationM))
	}
	answer(w, http.StatusOK, newView(p, a, n.desk))
}

func (s *Server) spot(w http.ResponseWriter, r *http.Request) {
	n := s.now.Load()
	a, ok := s.read(w, r)
	if !ok {
		return
	}
	if a.At == nil || !finite(a.At[0]) || !finite(a.At[1]) {
		refuse(w, http.StatusUnprocessableEntity, "bad_request", "no place is given", "reload the page")
		return
	}
	p, err := s.planFor(r.Context(), n, a)
	if err != nil {
		fail(w, err)
		return
	}
	answer(w, http.StatusOK, newSpotView(n.desk.Spot(orb.Point(*a.At)), p))
}

// file writes a hand-off file of the present state.
func (s *Server) file(w http.ResponseWriter, r *http.Request) {
	n := s.now.Load()
	a, ok := s.read(w, r)
	if !ok {
		return
	}
	name := r.PathValue("name")
	if name != packet.File && !slices.Contains(export.Formats, export.Format(name)) {
		refuse(w, http.StatusNotFound, "no_such_file", "there is no hand-off file of this name", "")
		return
	}
	p, err := s.planFor(r.Context(), n, a)
	if err != nil {
		fail(w, err)
		return
	}
	var content bytes.Buffer
	if name == packet.File {
		err = packet.Write(&content, p, packet.Options{})
	} else {
		err = export.Write(&content, export.Format(name), p)
	}
	if err != nil {
		fail(w, err)
		return
	}
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	send(w, "application/octet-stream", content.Bytes())
}

// save writes what is held in place into the site file, and nothing else.
func (s *Server) save(w http.ResponseWriter, r *http.Request) {
	n := s.now.Load()
	a, ok := s.read(w, r)
	if !ok {
		return
	}
	file := n.desk.Site().File
	if file == "" || file == "-" {
		refuse(w, http.StatusConflict, "no_site_file", "the site came from flags, not from a file", "write a site file with: route new DIR")
		return
	}
	if _, err := s.planFor(r.Context(), n, a); err != nil { // nothing is saved that cannot be planned
		fail(w, err)
		return
	}
	if !s.takeTurn(r.Context()) {
		return
	}
	defer s.giveTurn()
	changed, err := plan.SaveSite(file, n.edits(&a.Wish))
	if err == nil && changed {
		var again *plan.Site
		if again, err = plan.OpenSite(file); err == nil {
			// What is saved is shown, whether or not the page still waits.
			err = s.prepare(context.WithoutCancel(r.Context()), again)
		}
	}
	if err != nil {
		fail(w, err)
		return
	}
	text := "Saved: " + file
	if !changed {
		text = "The site file says this already."
	}
	answer(w, http.StatusOK, map[string]string{"text": text})
}

// edits turns a wish into changes of the site file.
func (n *site) edits(w *wish) []plan.SiteEdit {
	var list []plan.SiteEdit
	for _, role := range roles {
		e := plan.SiteEdit{Key: "pins." + role}
		if p, ok := w.Pins[role]; ok {
			e.Value = quoted(n.inSiteUnits(p))
		}
		list = append(list, e)
	}
	if w.Tank != nil {
		spot := n.desk.Spot(orb.Point(*w.Tank))
		list = append(list, plan.SiteEdit{Key: "tank.lat", Value: fmt.Sprintf("%.7f", float64(spot.Lat))}, plan.SiteEdit{Key: "tank.lon", Value: fmt.Sprintf("%.7f", float64(spot.Lon))},
			plan.SiteEdit{Key: "tank.waypoint"}) // which would stand above both
	}
	for _, r := range w.Readings {
		list = append(list, plan.SiteEdit{Key: "field", Value: r.entry(), Append: true})
	}
	return list
}

// inSiteUnits is a pin as the owner of the site file would write it.
func (n *site) inSiteUnits(p pinned) string {
	if p.None || n.desk.Site().Units != quantity.US {
		return p.text()
	}
	unit, perSI, _ := quantity.Unit(quantity.US, quantity.Length)
	return fmt.Sprintf("%.2f %s", p.StationM*perSI, unit)
}

// try works out one layout with every place given, or around a pump where there
// is no intake.
func (s *Server) try(w http.ResponseWriter, r *http.Request) {
	n := s.now.Load()
	a, ok := s.read(w, r)
	if !ok {
		return
	}
	if p, given := a.Places["pump"]; !given || p.None {
		refuse(w, http.StatusUnprocessableEntity, "bad_request", "a layout has a pump", "reload the page")
		return
	}
	patience, cancel := context.WithTimeout(r.Context(), 20*time.Second)
	defer cancel()
	d, err := s.groundFor(patience, n, a)
	if err != nil {
		fail(w, err)
		return
	}
	c, err := tryCard(patience, d, a)
	if err != nil {
		fail(w, err)
		return
	}
	s.ahead.lookAt(d, a.Places["pump"].StationM)
	answer(w, http.StatusOK, c)
}
