// Package plan is the program without its faces: a Site goes in, a Plan comes
// out. A Plan is complete: whoever prints or draws it computes nothing.
package plan

import (
	"route/internal/catalog"
	"route/internal/quantity"
	"route/internal/terrain"
)

// Format names the layout of plan.json; it changes only by additions.
const Format = "route-plan/1"

// Plan is the answer for one site, in SI units, longitudes and latitudes in
// degrees of WGS 84. Its JSON form is plan.json.
type Plan struct {
	Format      string `json:"format"`
	ToolVersion string `json:"tool_version"`
	Site        string `json:"site"`
	Seed        uint64 `json:"seed"`
	Units       string `json:"units"` // us or si: what is printed for people
	Objective   string `json:"objective"`
	Certainty   Number `json:"certainty"`     // with which the water must be reached as far as the heights go; null when none is asked for
	Demand      Number `json:"demand_l_day"`  // null when none is stated
	Take        Number `json:"take_flow_l_s"` // most that may be drawn from the creek
	LowFlow     Number `json:"creek_low_l_s"` // lowest flow of the creek
	// LowFlowSigma is the standard deviation of LowFlow; null when it was
	// given without readings.
	LowFlowSigma Number    `json:"creek_low_sd_l_s"`
	UsualFlow    Number    `json:"creek_usual_l_s"` // over the year; null when not given
	DemandUses   []PlanUse `json:"demand_uses"`     // what adds up to the demand; empty when it is given as a whole
	TankVolume   Number    `json:"tank_volume_l"`   // that holds the demand for the days of reserve; null without a demand
	Frame        Frame     `json:"frame"`           // of eastings and northings
	// ScreeningOnly: the terrain is good for finding a place only; costs are
	// ranges and nothing is listed to buy.
	ScreeningOnly bool `json:"screening_only"`
	// Replans is how often the plan was made again on terrain that errs; null
	// where that was left out.
	Replans    Number           `json:"replans"`
	Inputs     []Input          `json:"inputs"`      //
	Creek      Creek            `json:"creek"`       //
	Layouts    []Layout         `json:"layouts"`     // best first
	Messages   []Message        `json:"messages"`    // about the whole plan
	Visits     []Visit          `json:"visits"`      // what to measure on site first, the most telling for its hours first
	Pins       []PinAnswer      `json:"pins"`        // places that the user has chosen, and whether they work
	Front      []FrontPoint     `json:"front"`       // what more water costs: the cheapest layout for each of some demands
	Next       []NextStep       `json:"next"`        // changes to the first layout, the most water for its money first
	Stages     []Stage          `json:"stages"`      // how the first layout can be bought in parts; empty when it cannot
	Rejected   []Rejected       `json:"rejected"`    // why not elsewhere
	Reaches    []Reach          `json:"reaches"`     // what each reach of creek could do, or why not
	WorksCited []string         `json:"works_cited"` // formulas and tables that this run used
	Defaults   []Default        `json:"defaults"`    // values that the site did not give
	Catalog    string           `json:"catalog"`     // where the prices come from
	Relief     *Relief          `json:"-"`           // for drawing
	Prices     *catalog.Catalog `json:"-"`
}

// System is the unit system for people.
func (p *Plan) System() quantity.System {
	if p.Units == "us" {
		return quantity.US
	}
	return quantity.SI
}

// PlanUse is one use of water.
type PlanUse struct {
	Use    string `json:"use"`
	Count  Number `json:"count"`
	Per    string `json:"per"` // what is counted: person, head, bird, m²; "" when the site file does not say
	Each   Number `json:"each_l_day"`
	Source string `json:"source"` // of the amount
}

// Frame says what the eastings and northings of this plan are.
type Frame struct {
	PROJ string `json:"proj"`
	UTM  string `json:"utm_zone"` // of the stakes: "EPSG:32610"
	// Grid is the system that the stakes' grid_e and grid_n are in: the one
	// that the site asks for, else the UTM zone.
	Grid      string `json:"grid"`
	GridName  string `json:"grid_name"`
	GridUnit  string `json:"grid_unit"`
	GridUnitM Number `json:"grid_unit_m"` // metres in it
}

// Input is one file that was read.
type Input struct {
	Path          string `json:"path"`
	Role          string `json:"role"` // terrain, creek, creek_line, levels, land, catalog
	SHA256        string `json:"sha256"`
	CRS           string `json:"crs"`
	VerticalUnit  string `json:"vertical_unit"`
	VerticalDatum string `json:"vertical_datum"`
	CellM         Number `json:"cell_m"`
	CellText      string `json:"cell"` // "1 m", "0.3 arc-sec = 9.3 x 6.9 m here"
	AccuracyClass string `json:"accuracy_class"`
	AccuracyWhy   string `json:"accuracy_why"`
	Points        *int   `json:"points"` // fixes of a track
}

// HeightUnits is the unit of the heights as one says it of several; "" when it
// is unknown.
func (in *Input) HeightUnits() string {
	switch in.VerticalUnit {
	case "metre":
		return "metres"
	case "foot":
		return "feet"
	case "US survey foot":
		return "US survey feet"
	}
	return in.VerticalUnit
}

// Creek is the long profile.
type Creek struct {
	LengthM  Number         `json:"length_m"`
	FallM    Number         `json:"fall_m"`
	Stations []CreekStation `json:"stations"`
}

// CreekStation is one station of the creek, upstream first.
type CreekStation struct {
	StationM Number   `json:"station_m"`
	Lon      Degrees  `json:"lon"`
	Lat      Degrees  `json:"lat"`
	ZM       Number   `json:"z_m"` // fitted water line
	ZSigmaM  Number   `json:"z_sd_m"`
	LowM     Number   `json:"z_low_m"`
	HighM    Number   `json:"z_high_m"`
	RawM     Number   `json:"raw_m"`
	Flags    []string `json:"flags"`
}

// Vertex is a point of a laid line: longitude, latitude, height of the ground
// and of the pipe's invert, distance along the line, and the hydraulic grade
// line above it.
type Vertex struct {
	Lon      Degrees `json:"lon"`
	Lat      Degrees `json:"lat"`
	EastingM Number  `json:"e_m"` // in Frame.UTM
	NorthM   Number  `json:"n_m"`
	AlongM   Number  `json:"along_m"`   // slope length from the start of this pipe
	StationM Number  `json:"station_m"` // of the creek; null away from it
	GroundM  Number  `json:"ground_m"`
	InvertM  Number  `json:"invert_m"`
	GradeM   Number  `json:"grade_m"` // running hydraulic grade line
}

// Place is a point where something stands.
type Place struct {
	StationM Number  `json:"station_m"`
	Lon      Degrees `json:"lon"`
	Lat      Degrees `json:"lat"`
	EastingM Number  `json:"e_m"`
	NorthM   Number  `json:"n_m"`
	GroundM  Number  `json:"ground_m"`
}

// Layout is one buildable answer.
type Layout struct {
	ID        string   `json:"id"` // "A", "B", …
	Rank      int      `json:"rank"`
	Objective string   `json:"objective"` // what this layout is best at
	BestAt    []string `json:"best_at"`   // objectives at which no other layout is better
	Why       string   `json:"why"`       // one sentence for people

	Intake      Intake       `json:"intake"`
	SettlingBox *SettlingBox `json:"settling_box"`
	Standpipe   *Standpipe   `json:"standpipe"` // null: the drive pipe starts at the box or the intake
	Pump        Pump         `json:"pump"`
	Tank        Tank         `json:"tank"`
	Supply      *Supply      `json:"supply"` // null when the drive pipe starts at the intake
	Drive       Drive        `json:"drive"`
	Delivery    Delivery     `json:"delivery"`

	DriveHeadM      Number `json:"drive_head_m"`
	DriveHeadSigmaM Number `json:"drive_head_sd_m"`
	// DriveHeadCorrectedM is DriveHeadM less what the search claims too much,
	// because it takes the place that the terrain's error flatters most;
	// DeliveredLDayCorrected likewise. null where that is not known. Chances
	// and ranges hold for the corrected values.
	DriveHeadCorrectedM    Number `json:"drive_head_corrected_m"`
	DeliveredLDayCorrected Number `json:"delivered_l_day_corrected"`
	// DriveHeadSureM is what the drive head is at least with the plan's
	// certainty, by the error of the heights alone, and DeliveredLDaySure what
	// is delivered with it; DeliveredLDayDrawn is what is delivered with that
	// certainty by the draws, which vary all else as well. null when none is
	// asked for.
	DriveHeadSureM     Number  `json:"drive_head_sure_m"`
	DeliveredLDaySure  Number  `json:"delivered_l_day_sure"`
	DeliveredLDayDrawn Number  `json:"delivered_l_day_sure_drawn"`
	ChanceWorks        Number  `json:"chance_works"`
	Chances            Chances `json:"chances"`
	DriveFlowLMin      Number  `json:"drive_flow_l_min"`
	DeliveredLMin      Number  `json:"delivered_l_min"`
	DeliveredLDay      Number  `json:"delivered_l_day"`
	DeliveredLDayLow   Number  `json:"delivered_l_day_low"`
	DeliveredLDayHigh  Number  `json:"delivered_l_day_high"`
	BeatsPerMin        Number  `json:"beats_per_min"`
	Efficiency         Number  `json:"efficiency"`           // D'Aubuisson
	EfficiencyRankine  Number  `json:"efficiency_rankine"`   //
	LiftRatio          Number  `json:"lift_ratio"`           //
	Mu                 Number  `json:"mu"`                   // Joukowsky head over delivery head
	ClosingVelocityMS  Number  `json:"closing_velocity_m_s"` //
	ShutoffHeadM       Number  `json:"shutoff_head_m"`       // surge that the drive pipe must survive
	CreekLeftShare     Number  `json:"creek_left_share"`     // of low flow, between intake and pump
	// TunedUpFlowLMin is what the pumps draw of the creek's usual flow when they
	// are tuned to deliver the most of the share that may be taken, and
	// TunedUpLDay what can then be counted on; null without a usual flow.
	TunedUpFlowLMin Number `json:"tuned_up_flow_l_min"`
	TunedUpLDay     Number `json:"tuned_up_l_day"`

	Starting  Starting  `json:"starting"`
	StuckOpen StuckOpen `json:"stuck_open"`

	Cost    Cost          `json:"cost"`
	Takeoff []TakeoffLine `json:"takeoff"`
	// PipeChoices are the pressure classes of the same size, priced side by
	// side.
	PipeChoices []PipeChoice `json:"pipe_choices"`
	Labour      []LabourLine `json:"labour"` // hours of one person
	LabourHours Number       `json:"labour_hours"`
	Stakes      []Stake      `json:"stakes"`
	Messages    []Message    `json:"messages"`
}

// Chances are the shares of the draws in which a layout passes each test by
// itself; ChanceWorks is for all but Flow together.
type Chances struct {
	DriveHead Number `json:"drive_head"` // is enough
	Standpipe Number `json:"standpipe"`  // holds the water between its least and greatest height; null without one
	Flow      Number `json:"flow"`       // the creek gives all that is planned; with less the pump is tuned lower
	Pump      Number `json:"pump"`       // runs
	Demand    Number `json:"demand"`     // is met; null without one
}

// Intake is the screened end in a pool.
type Intake struct {
	Place
	WaterM       Number `json:"water_m"`
	ScreenAreaM2 Number `json:"screen_area_m2"` // least whole area of the screen
	SubmergenceM Number `json:"submergence_m"`  // least water above the top of the pipe's end
}

// SettlingBox is the box open to the air.
type SettlingBox struct {
	Place
	WaterM Number `json:"water_m"`
	AlongM Number `json:"along_m"` // from the intake, along the supply pipe
	// LossM is how far its water stands below the intake pool: the head starts
	// again at the box.
	LossM Number `json:"loss_m"`
	// AreaM2 is the least water surface, VolumeM3 the least content.
	AreaM2   Number `json:"area_m2"`
	VolumeM3 Number `json:"volume_m3"`
}

// Standpipe is the open vertical pipe at the head of the drive pipe.
type Standpipe struct {
	Place
	HeightM       Number `json:"height_m"`
	StaticLevelM  Number `json:"static_level_m"`
	RunningLevelM Number `json:"running_level_m"`
	InsideM       Number `json:"inside_m"`
	Size          string `json:"size"`
	RippleM       Number `json:"ripple_m"` // half the swing of the level over a beat
	SurgeM        Number `json:"surge_m"`  // most that the water swings above its level at rest when the pump stops
}

// Pump is the ram, or several on one standpipe.
type Pump struct {
	Place
	OutletM Number `json:"outlet_m"` // waste valve outlet, the datum of drive head and lift
	Count   int    `json:"count"`
	Model   string `json:"model"`
	ThrustN Number `json:"thrust_n"` // greatest push of the drive pipe on one pump
}

// Tank is the storage tank.
type Tank struct {
	Place
	InletM Number `json:"inlet_m"`
}

// PipeRun is what the three pipe runs have in common.
type PipeRun struct {
	Item     string `json:"item"`
	Material string `json:"material"`
	Size     string `json:"size"`
	Standard string `json:"standard"`
	InsideM  Number `json:"inside_m"`
	LengthM  Number `json:"length_m"` // along the slope
	// LengthSigmaM is the standard deviation of the length as laid.
	LengthSigmaM Number   `json:"length_sd_m"`
	LossM        Number   `json:"loss_m"`
	FlowLS       Number   `json:"flow_l_s"`
	VelocityMS   Number   `json:"velocity_m_s"`
	PressureM    Number   `json:"pressure_max_m"` // greatest head inside, surge included
	RatingM      Number   `json:"rating_m"`       // of the pipe at this water temperature; null when its standard gives none
	Path         []Vertex `json:"path"`
}

// Supply is the pipe from intake to standpipe.
type Supply struct {
	PipeRun
	Route     string `json:"route"`          // creek: along its bed; free: over the ground where that is shorter
	CreekM    Number `json:"creek_length_m"` // length along the creek between the same places
	TrenchM   Number `json:"trench_m"`       // of its length away from the creek, in a trench
	TrestleM  Number `json:"trestle_m"`      // and on supports
	ThrottleM Number `json:"throttle_m"`     // head left over, for the gate valve to take
}

// Drive is the pipe from standpipe to pump; LossM is null, the cycle holds it.
type Drive struct {
	PipeRun
	FallM            Number `json:"fall_m"`
	LengthToDiameter Number `json:"length_to_diameter"`
	LengthToHead     Number `json:"length_to_head"`
	// Posts is how many of its anchors stand on posts, PostHighestM how high the
	// highest is; TrenchM is the length in a trench, TrenchDeepestM how deep that
	// is to the invert.
	Posts          int    `json:"posts"`
	PostHighestM   Number `json:"post_highest_m"`
	TrenchM        Number `json:"trench_m"`
	TrenchDeepestM Number `json:"trench_deepest_m"`
}

// Delivery is the pipe from pump to tank.
type Delivery struct {
	PipeRun
	LiftM Number `json:"lift_m"`
	// LiftSigmaM is the standard deviation of LiftM.
	LiftSigmaM Number `json:"lift_sd_m"`
	CrestM     Number `json:"crest_m"`
	// Vents and Drains are the high and the low places of the pipe, as
	// distances along it in metres.
	Vents  []Number `json:"vents_m"`
	Drains []Number `json:"drains_m"`
	// ShutM is the greatest head inside when a valve is shut and the pump goes
	// on beating.
	ShutM Number `json:"pressure_shut_m"`
	// BendThrustN is the greatest push of the water on a bend.
	BendThrustN Number `json:"bend_thrust_n"`
	// CrestWays are the ways that were weighed against each other where the
	// cheapest one climbs above the tank's inlet, the highest crest first; one
	// where there is no choice.
	CrestWays []CrestWay `json:"crest_ways"`
	// Stretches are the parts of the pipe that are of one product each, from
	// the pump up; what the pipe is otherwise said to be holds for the first.
	Stretches []Stretch `json:"stretches"`
	// TrenchM is how deep the pipe is dug in; 0 leaves it on the ground.
	TrenchM Number `json:"trench_m"`
	// Crossings are the roads, creeks, fences and the like that the pipe
	// passes over, from the pump.
	Crossings []CrossingPlace `json:"crossings"`
}

// Starting is what it takes to get the pump going.
type Starting struct {
	FillS       Number `json:"fill_s"`        // until the supply pipe is full
	StrokesLow  Number `json:"strokes_low"`   // by hand, with the delivery valve nearly shut
	StrokesHigh Number `json:"strokes_high"`  // with it open and the delivery pipe empty
	FirstWaterS Number `json:"first_water_s"` // from running by itself until water reaches the tank
}

// StuckOpen is the other state in which the supply side can rest: the waste
// valve open, the standpipe drawn down.
type StuckOpen struct {
	LevelM   Number `json:"level_m"` // height of the water at the head of the drive pipe
	FlowLMin Number `json:"flow_l_min"`
	Restarts *bool  `json:"restarts"` // whether the pump would get going again by itself; null when unknown
}

// Cost in the catalog's currency; decimal text, exact to the smallest coin.
type Cost struct {
	Currency string  `json:"currency"`
	Supply   Decimal `json:"supply"`
	Drive    Decimal `json:"drive"`
	Delivery Decimal `json:"delivery"`
	Other    Decimal `json:"other"`
	Total    Decimal `json:"total"`
	// Range stands in place of the amounts, which are null, in a plan that is
	// for screening only; else null.
	Range *CostRange `json:"range"`
	// Low and High hold the total in 8 of 10 draws of lengths and prices; null
	// in a plan that is for screening only.
	Low  Number `json:"low"`
	High Number `json:"high"`
}

// CostRange is a cost that is known roughly.
type CostRange struct {
	Low  Number `json:"low"`
	High Number `json:"high"`
}

// TakeoffLine is one line of what to buy.
type TakeoffLine struct {
	Item     string  `json:"item"`
	Name     string  `json:"name"`
	Group    string  `json:"group"` // supply, drive, delivery, other
	Where    string  `json:"where"`
	Need     Number  `json:"need"`      // metres or pieces, before waste
	NeedUnit string  `json:"need_unit"` // m or each
	Packs    int64   `json:"packs"`
	Unit     string  `json:"unit"` // coil, stick, each
	Kind     string  `json:"kind"` // pipe, pump, fitting, box, material or labour; "" for a sum
	PackM    Number  `json:"pack_m"`
	Price    Decimal `json:"price"`
	Amount   Decimal `json:"amount"`
}

// Stake is one peg to drive.
type Stake struct {
	Label string `json:"label"` // "S3", "INTAKE"
	Role  string `json:"role"`  // intake, settling_box, standpipe, pump, tank, supply, drive, delivery
	Place
	AlongM      Number `json:"along_m"`             // from the intake, along the pipes
	InvertM     Number `json:"invert_m"`            // of the pipe
	FallIntakeM Number `json:"fall_since_intake_m"` // intake water minus invert; positive is down
	FallLastM   Number `json:"fall_since_last_m"`
	// CutM is how far below the ground the pipe lies; negative above it.
	CutM Number `json:"cut_m"`
	// GridE and GridN are the place in Frame.Grid, in its unit.
	GridE Number      `json:"grid_e"`
	GridN Number      `json:"grid_n"`
	Check *StakeCheck `json:"check"` // that needs no receiver; null where there is none
	Do    string      `json:"do"`    // what to do here
}

// Visit is a drop to measure on site before anything is bought: the water at
// one place above that at another.
type Visit struct {
	Rank       int        `json:"rank"`
	From       VisitPlace `json:"from"` // the upper place
	To         VisitPlace `json:"to"`
	Instrument string     `json:"instrument"` // hose, hand_level or level
	SetUps     int        `json:"set_ups"`
	SigmaM     Number     `json:"sigma_m"`   // standard deviation of the reading
	Hours      Number     `json:"hours"`     // of work
	DropM      Number     `json:"drop_m"`    // expected
	DropSigmaM Number     `json:"drop_sd_m"` // before the reading
	// Value is by how much better a choice the reading is expected to lead
	// to, in ValueUnit: a currency, L/day or m.
	Value         Number         `json:"value"`
	ValueUnit     string         `json:"value_unit"`
	ValuePerHour  Number         `json:"value_per_hour"`
	Money         Number         `json:"value_money"`    // Value in the currency of the prices
	Cost          Number         `json:"cost"`           // of the hours, in the same
	ChanceChanges Number         `json:"chance_changes"` // chance that the reading changes the choice
	Outcomes      []VisitOutcome `json:"outcomes"`       // from the least to the greatest drop
	Text          string         `json:"text"`           // what to do and what each outcome decides, for people
}

// VisitPlace is one end of a drop; its ground_m is the water line.
type VisitPlace struct {
	Name string `json:"name"` // "the intake of layout A"
	Place
}

// VisitOutcome is a range of the measured drop and the layout it decides for.
type VisitOutcome struct {
	FromM  Number `json:"from_m"` // null: no lower end
	ToM    Number `json:"to_m"`   // null: no upper end
	Layout string `json:"layout"` // "" for none: it is not built
	Chance Number `json:"chance"` // that the reading falls here
}

// Message is a finding for a person, in the site's units.
type Message struct {
	Level    string `json:"level"` // note, warning, error
	Code     string `json:"code"`
	Text     string `json:"text"`
	Hint     string `json:"hint"`
	File     string `json:"file,omitempty"`
	Line     int    `json:"line,omitempty"`
	StationM Number `json:"station_m"`
}

// Rejected sums up the places that one limit ruled out.
type Rejected struct {
	Reason  string  `json:"reason"` // code
	Text    string  `json:"text"`
	Count   int     `json:"count"`
	Nearest Nearest `json:"nearest"`
}

// Nearest is the place that missed a limit by least.
type Nearest struct {
	StationM Number `json:"station_m"`
	Value    Number `json:"value"`
	Limit    Number `json:"limit"`
	Unit     string `json:"unit"`
}

// Reach is a stretch of creek seen as a pump site.
type Reach struct {
	FromM         Number `json:"from_m"`
	ToM           Number `json:"to_m"`
	Layout        string `json:"layout"`          // ID when a layout's pump stands here
	DriveHeadM    Number `json:"drive_head_m"`    // best within reach; null when there is none
	DeliveredLDay Number `json:"delivered_l_day"` // best; null when not feasible
	Reason        string `json:"reason"`          // code when not feasible
	Text          string `json:"text"`
}

// Default is a value that the site did not give.
type Default struct {
	Key   string `json:"key"`
	Value string `json:"value"`
	Why   string `json:"why"`
}

// Relief is the ground under the map: heights for contours and shading.
type Relief struct {
	West, South, East, North float64 // frame metres
	Cols, Rows               int
	Z                        []float32 // row-major from the north-west, NaN where unknown
	Shade                    []uint8   // 0 dark … 255 light, 0 alpha is for exporters to decide where Z is NaN
	// Contours are in the frame, each at one height.
	Contours []terrain.Contour
	// ToFrame maps degrees to frame metres for drawing.
	ToFrame func(lon, lat float64) (e, n float64) `json:"-"`
}
