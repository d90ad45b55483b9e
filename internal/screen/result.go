package screen

import (
	"encoding/json"
	"errors"
	"slices"
	"strings"

	"route/internal/finding"
	"route/internal/geodesy"
	"route/internal/plan"
)

// Outcome is what came of a creek.
type Outcome string

// The outcomes.
const (
	HasLayout Outcome = "layout"    // at least one layout works
	NoLayout  Outcome = "no_layout" // it was planned, and none works
	Failed    Outcome = "failed"    // it could not be planned
)

// resultFormat names the layout of a creek's result; it changes only by
// additions.
const resultFormat = "route-screen-creek/1"

// Result is what came of one creek, in SI units.
type Result struct {
	Format string `json:"format"`
	// Inputs is the checksum of all that the result hangs on; a result with
	// another is worked out again.
	Inputs  string  `json:"inputs_sha256"`
	ID      string  `json:"id"`
	Line    int     `json:"list_line"`
	Rank    int     `json:"rank"` // 0 for a creek without a layout
	Outcome Outcome `json:"outcome"`
	// Why there is no layout, and what to do; empty when there is one.
	Code string `json:"code"`
	Text string `json:"text"`
	Hint string `json:"hint"`

	Objective     string `json:"objective"`      // of the plan
	ScreeningOnly bool   `json:"screening_only"` // the terrain is good for finding a place only
	Warnings      int    `json:"warnings"`
	Best          Best   `json:"best"`

	Creek  [][]Position `json:"creek,omitempty"` // the line as it was given
	Pipes  []Pipe       `json:"pipes,omitempty"`
	Places []Place      `json:"places,omitempty"`
}

// Best is the first layout of a creek; all is null without one.
type Best struct {
	DeliveredLDay     plan.Number `json:"delivered_l_day"`
	DeliveredLDayLow  plan.Number `json:"delivered_l_day_low"`
	DeliveredLDayHigh plan.Number `json:"delivered_l_day_high"`
	ChanceWorks       plan.Number `json:"chance_works"`
	Cost              plan.Cost   `json:"cost"`
	DriveHeadM        plan.Number `json:"drive_head_m"`
	DriveHeadSigmaM   plan.Number `json:"drive_head_sd_m"`
	LiftM             plan.Number `json:"lift_m"`
	DriveFlowLMin     plan.Number `json:"drive_flow_l_min"`
	Pumps             int         `json:"pumps"`
	PumpModel         string      `json:"pump_model"`
}

// Pipe is a pipe of the best layout.
type Pipe struct {
	Role    string      `json:"role"` // supply, drive, delivery
	Size    string      `json:"size"` // with its material
	LengthM plan.Number `json:"length_m"`
	Line    []Position  `json:"line"` // of the invert
}

// Place is a place of the best layout.
type Place struct {
	Role     string      `json:"role"`
	StationM plan.Number `json:"station_m"` // along the creek; null away from it
	At       Position    `json:"at"`        // of the ground
}

// Position is longitude, latitude and height; the height is NaN where it is
// not known. In JSON it is a list of two or three numbers.
type Position struct {
	Lon, Lat plan.Degrees
	ZM       plan.Number
}

// MarshalJSON writes the list.
func (p Position) MarshalJSON() ([]byte, error) {
	if p.ZM.Known() {
		return json.Marshal([]any{p.Lon, p.Lat, p.ZM})
	}
	return json.Marshal([]any{p.Lon, p.Lat})
}

// UnmarshalJSON reads it.
func (p *Position) UnmarshalJSON(text []byte) error {
	var list []float64
	if err := json.Unmarshal(text, &list); err != nil {
		return err
	}
	if len(list) < 2 {
		return errors.New("a position has at least two numbers")
	}
	*p = Position{plan.Degrees(list[0]), plan.Degrees(list[1]), plan.Unknown}
	if len(list) > 2 {
		p.ZM = plan.Number(list[2])
	}
	return nil
}

// unknownBest is the best layout of a creek without one.
func unknownBest() Best {
	u := plan.Unknown
	return Best{DeliveredLDay: u, DeliveredLDayLow: u, DeliveredLDayHigh: u, ChanceWorks: u, DriveHeadM: u, DriveHeadSigmaM: u, LiftM: u, DriveFlowLMin: u}
}

// failure is the result of a creek that could not be planned.
func failure(e *Entry, err error) *Result {
	r := &Result{Outcome: Failed, Best: unknownBest(), Code: "failed", Text: err.Error()}
	var fault *finding.Fault
	if errors.As(err, &fault) {
		r.Code, r.Text, r.Hint = fault.Code, fault.Error(), fault.Hint
		if fault.File == e.File && fault.Line == e.Line {
			r.Text = fault.Text // the line stands beside it
		}
	}
	return r
}

// resultOf sums up the plan of a creek.
func resultOf(p *plan.Plan) *Result {
	r := &Result{Outcome: NoLayout, Best: unknownBest(), Objective: p.Objective, ScreeningOnly: p.ScreeningOnly}
	for _, m := range p.Messages {
		if m.Level == string(finding.Warning) {
			r.Warnings++
		}
	}
	if len(p.Layouts) == 0 {
		r.whyNot(p)
		return r
	}
	l := &p.Layouts[0]
	r.Outcome = HasLayout
	for _, m := range l.Messages {
		if m.Level == string(finding.Warning) {
			r.Warnings++
		}
	}
	r.Best = Best{
		DeliveredLDay: l.DeliveredLDay, DeliveredLDayLow: l.DeliveredLDayLow, DeliveredLDayHigh: l.DeliveredLDayHigh,
		ChanceWorks: l.ChanceWorks, Cost: l.Cost, DriveHeadM: l.DriveHeadM, DriveHeadSigmaM: l.DriveHeadSigmaM,
		LiftM: l.Delivery.LiftM, DriveFlowLMin: l.DriveFlowLMin, Pumps: l.Pump.Count, PumpModel: l.Pump.Model,
	}
	if l.Supply != nil {
		r.addPipe("supply", &l.Supply.PipeRun)
	}
	r.addPipe("drive", &l.Drive.PipeRun)
	r.addPipe("delivery", &l.Delivery.PipeRun)
	r.addPlace("intake", l.Intake.Place)
	if l.SettlingBox != nil {
		r.addPlace("settling_box", l.SettlingBox.Place)
	}
	if l.Standpipe != nil {
		r.addPlace("standpipe", l.Standpipe.Place)
	}
	r.addPlace("pump", l.Pump.Place)
	r.addPlace("tank", l.Tank.Place)
	return r
}

// whyNot is the first error of the plan, with the limit that ruled out most
// places where the error says no more than that there are some.
func (r *Result) whyNot(p *plan.Plan) {
	i := slices.IndexFunc(p.Messages, func(m plan.Message) bool { return m.Level == string(finding.Error) })
	if i >= 0 {
		r.Code, r.Text, r.Hint = p.Messages[i].Code, p.Messages[i].Text, p.Messages[i].Hint
	}
	if len(p.Rejected) == 0 || i >= 0 && r.Code != "no_feasible_layout" {
		return
	}
	most := slices.MaxFunc(p.Rejected, func(a, b plan.Rejected) int { return a.Count - b.Count })
	r.Code, r.Text, r.Hint = most.Reason, most.Text, ""
}

func (r *Result) addPipe(role string, run *plan.PipeRun) {
	pipe := Pipe{Role: role, Size: strings.TrimSpace(run.Material + " " + run.Size), LengthM: run.LengthM}
	for _, v := range run.Path {
		pipe.Line = append(pipe.Line, Position{v.Lon, v.Lat, v.InvertM})
	}
	r.Pipes = append(r.Pipes, pipe)
}

func (r *Result) addPlace(role string, p plan.Place) {
	r.Places = append(r.Places, Place{Role: role, StationM: p.StationM, At: Position{p.Lon, p.Lat, p.GroundM}})
}

// drawCreek keeps the line of the creek as it was given.
func (r *Result) drawCreek(legs [][]geodesy.LonLat) {
	for _, leg := range legs {
		line := make([]Position, len(leg))
		for i, p := range leg {
			line[i] = Position{plan.Degrees(p.Lon), plan.Degrees(p.Lat), plan.Unknown}
		}
		r.Creek = append(r.Creek, line)
	}
}

// pipe is the pipe of a role; a pipe that there is not has no size.
func (r *Result) pipe(role string) Pipe {
	for _, p := range r.Pipes {
		if p.Role == role {
			return p
		}
	}
	return Pipe{Role: role, LengthM: plan.Unknown}
}

// place is the place of a role, unknown when there is none.
func (r *Result) place(role string) Place {
	for _, p := range r.Places {
		if p.Role == role {
			return p
		}
	}
	nan := plan.Degrees(plan.Unknown)
	return Place{role, plan.Unknown, Position{nan, nan, plan.Unknown}}
}
