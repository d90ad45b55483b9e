// Package optimize chooses the places, the pipes and the pumps: an exact
// search over intake, standpipe and pump stations for every choice of supply
// pipe, settling box, drive pipe and pump, number of pumps, delivery pipe and
// flow.
//
// The flow is part of the choice: the closing velocity of the pump is then the
// one that draws just this flow. That fixes what the supply pipe loses, and
// the places on the supply side follow from geometry alone (see lines). Flows
// are TakeFlow and steps of a fifth below it (see flowLevels); within these
// the search is exact, which rests on five facts about a ram that draws a
// fixed flow. They hold in the cycle model for lift ratios from 1.5, as a test
// over random pumps shows:
//
//   - more drive head delivers no less;
//   - more delivery head delivers no more;
//   - more drive head needs a lesser tuning λ;
//   - more drive head needs a higher closing velocity, so that shut-off head
//     and μ rise with it;
//   - so does the lift ratio fall with it.
//
// Hence the heads at which a pump works are one interval, and within it the
// highest way to bring water is the best and the cheapest sufficient one the
// cheapest. Where pumps and pipes cannot come close to what has been found
// already they are skipped by a bound from a table of the pump (see table),
// whose margin a test compares with direct evaluation.
package optimize

import (
	"context"

	"github.com/paulmach/orb"

	"route/internal/catalog"
	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/profile"
	"route/internal/quantity"
	"route/internal/terrain"
)

// Objective is what is best.
type Objective string

// The objectives. What is equally good is decided by the next one: MostHead by
// water, MostWater and MostSureWater by cost of pipes, LeastCost by water: by
// sure water where Problem.Certainty asks for it.
const (
	MostHead  Objective = "most_head" // of those that deliver Problem.Demand: the least flow has always the most head
	MostWater Objective = "most_water"
	LeastCost Objective = "least_cost" // that delivers Problem.Demand, with Problem.Certainty where that is given

	// MostSureWater is the most water that is reached with Problem.Certainty.
	MostSureWater Objective = "most_sure_water"
)

// DeliveryWay is what the delivery line from a pump station to the tank looks
// like; OK is false where there is none.
type DeliveryWay struct {
	LengthM float64 // along the slope
	CrestM  float64 // highest ground on the way
	OK      bool
	// Bends, HighPoints and LowPoints need fittings; they count in the cost.
	Bends, HighPoints, LowPoints int
	// Laying is the cost of laying and crossings, which does not depend on the
	// pipe.
	Laying catalog.Money
}

// Problem is one site, ready to be searched. Slices named ...At have an entry
// a station.
type Problem struct {
	Creek      *profile.Profile
	Ground     profile.Ground // nil: drive pipes are not held against the ground
	DeliveryAt []DeliveryWay
	// DeliveryOthers are further lines from each station, such as longer ones
	// over lower ground; the search takes whichever is better.
	DeliveryOthers [][]DeliveryWay
	// Land: where an intake, a standpipe or settling box, and a pump may stand,
	// and where the supply pipe may pass. nil allows all.
	IntakeAt, StandpipeAt, PumpAt, PassAt []bool
	// BoxAt says where a settling box may stand; nil is where a standpipe may.
	BoxAt []bool
	Pins  Pins // places that are given
	// mustStand asks for a standpipe without saying where.
	mustStand bool
	// boxAnywhere lets the settling box stand however far from the intake.
	boxAnywhere bool
	// Supply is the ground that supply pipes may be laid over, with the stations
	// of Creek as its own and the bed BedDepthM below; nil keeps them along the
	// creek.
	Supply *Supply
	// ChordAllowed says whether a straight drive pipe may cross the land
	// between two points; nil allows all. It is called from several goroutines.
	ChordAllowed func(a, b orb.Point) bool

	TankInletM float64 // height of the tank inlet
	TakeFlow   float64 // m³/s that may be drawn
	Demand     float64 // m³/s wanted at the tank; 0 when none is stated
	Fluid      hydraulics.Fluid
	Catalog    *catalog.Catalog
	Limits     Limits
	Choices    Choices
	Objective  Objective // "" is LeastCost with a demand, MostWater without
	Layouts    int       // how many different layouts are wanted; 0 counts as 5
	FlowStep   float64   // ratio of one flow that is tried to the next; 0 is steps of a fifth

	// Certainty is the chance with which a layout must deliver what it is
	// chosen for, as far as the error of its drive head goes; 0, or a half and
	// less, asks for none, but counts as 0.9 with MostSureWater.
	Certainty float64
	// HeadSigma is the standard deviation of the drive head of an intake and a
	// pump, in metres; nil: the head is known for sure. It is called from
	// several goroutines.
	HeadSigma func(intake, pump orb.Point) float64

	WasteFraction   float64 // of pipe, for cuts and laying
	ContingencyPart float64 // of the cost of a layout
}

// Choices are the items that the search may use; IDs of the catalog. An empty
// list allows all that the catalog has.
type Choices struct {
	SupplyPipes, DrivePipes, DeliveryPipes, Pumps []string
	PumpCounts                                    []int      // empty: 1
	SettlingBox                                   []bool     // which of with and without; empty: without
	Tuning                                        [2]float64 // λ range; zero: 0.35 to 0.8
}

// Limits bound what is buildable, all in metres unless said.
type Limits struct {
	DriveHeadMinM, DriveHeadMaxM     float64
	DriveLengthMinM, DriveLengthMaxM float64
	StandpipeMinM, StandpipeMaxM     float64 // running water above the foot
	StandpipeFreeboardM              float64 // pipe above the static level
	SupplyLengthMaxM                 float64
	SupplySlopeMin                   float64 // fall over length
	BedDepthM                        float64 // pipe on the bed below the water line
	GradeLineCoverM                  float64 // grade line above the pipe's crown
	IntakeLossK                      float64 // screen and entrance, on supply velocity
	BoxDropM                         float64 // fall spent at the settling box at least
	BoxLeadM, BoxLeadMaxM            float64 // its distance from the intake; no greatest one: 15 m more than the least
	BoxRiseM                         float64 // highest water in it above the creek; 0 is no limit
	PumpAboveCreekM                  float64 // waste valve outlet above the creek
	DriveDigM, DriveTrestleM         float64 // chord below and above the ground
	LiftRatioMax                     float64
	SeparationM                      float64 // pump or intake distance that makes layouts different
}

// Settings tune how a search runs, never what it finds. The zero value works.
type Settings struct {
	Workers int            // goroutines; 0 is one a processor
	Record  func(Progress) // called from several goroutines; nil for silence
}

// Progress is how far a search has come.
type Progress struct{ Done, Total int }

// Status says how a search ended.
type Status int

// The ends of a search.
const (
	Found      Status = iota // Ranked holds the best layouts
	Infeasible               // no layout keeps all limits; Findings say what is nearest
)

// String is the status in a word.
func (s Status) String() string { return [...]string{"found", "infeasible"}[s] }

// Candidate is one layout. Stations are indices into the creek's profile.
// Heights are in metres above the datum of the profile.
type Candidate struct {
	BestAt []Objective // what no other layout of the whole search is better at

	Intake, Pump   int
	Box, Standpipe int // -1 where there is none
	DriveFrom      int // head of the drive pipe: the standpipe, the box or the intake

	SupplyPipe, StandpipePipe, DrivePipe, PumpItem, DeliveryPipe string // catalog IDs; "" where there is none

	// DeliverySet says which line the delivery pipe takes: 0 for that of
	// Problem.DeliveryAt, then those of DeliveryOthers.
	DeliverySet int

	Flow      float64              // m³/s drawn by all pumps together
	Operation hydraulics.Operation // of the installation; its LevelM is DriveHeadM

	DriveHeadM    float64 // running level above the waste valve outlet
	RunningLevelM float64 // water at the head of the drive pipe while the pump runs
	StaticLevelM  float64 // and while it stands
	OutletM       float64 // waste valve outlet
	LiftM         float64 // tank inlet or crest above the outlet

	SupplyM, DriveM, DeliveryM float64 // pipe lengths along the slope; DriveM of one pipe
	DriveFallM                 float64

	// What the drive head is at least with Problem.Certainty, in metres, and
	// what reaches the tank with it, m³/s; both as planned where none is asked
	// for. SureWater is 0 where the pump does not run with that head.
	SureHeadM, SureWater  float64
	StandpipeM            float64 // length of the standpipe
	StandpipeWaterM       float64 // running water above the creek at the standpipe
	SupplySlope           float64 // friction slope of the supply pipe
	IntakeLossM, BoxDropM float64
	SupplyLossM           float64 // friction over SupplyM
	BoxAlongM, BoxLevelM  float64 // pipe from intake to settling box, and the water in it; with a box
	ThrottleM             float64 // head left over, for the gate valve to take
	// SupplyLine is the pipe over the ground, in front of the box and behind it;
	// none along the creek.
	SupplyLine []terrain.SupplyLine

	Layout  catalog.Layout
	Takeoff catalog.Takeoff
	Cost    catalog.Money // Takeoff's total, contingency included

	Findings []finding.Finding // doubts about this layout
}

// Reach is a stretch of creek seen as a place for the pump.
type Reach struct {
	From, To   int     // stations From ≤ p < To
	FromM, ToM float64 // along the creek
	Candidate  int     // index into Ranked of the best layout with its pump here; -1 when none was kept
	HeadM      float64 // most drive head of any layout here, or within reach when none is feasible; NaN when there is none
	Water      float64 // m³/s at the tank, most of any layout here; NaN when none is feasible
	Reason     string  // why no pump of Ranked stands here: a code of Reject, or NotBest
	Value      quantity.Value
	Limit      quantity.Value
}

// Codes of Reject and Reach.
const (
	NotBest             = "not_best"
	PinnedElsewhere     = "pinned_elsewhere" // the pump is given another place
	TooLittleHead       = "too_little_head"
	DrivePipeTooLong    = "drive_pipe_too_long"
	DrivePipeTooShort   = "drive_pipe_too_short"
	DriveGround         = "drive_pipe_off_the_ground" // chord below or above the ground by more than the limits
	StandpipeTooHigh    = "standpipe_too_high"
	SupplySummit        = "supply_summit_above_grade_line"
	SupplyTooLong       = "supply_too_long"
	TooLittleWater      = "too_little_water"
	NoDeliveryWay       = "no_delivery_way"
	Land                = "land"
	LiftRatioTooHigh    = "lift_ratio_too_high"
	LiftTooLow          = "lift_not_above_source" // the tank is no higher than the source: no pump is needed
	LiftTooHigh         = "lift_beyond_the_beat"
	DriveHeadTooHigh    = "drive_head_too_high"
	SurgeAboveRating    = "surge_above_rating"
	DeliveryAboveRating = "delivery_above_rating"
	PumpTooSmall        = "pump_too_small" // for the flow
	OverBudget          = "dearer"
	NotSureEnough       = "not_sure_enough" // works as planned, but not with the certainty asked for

	// Only of a trial with places given.
	DriveRises      = "drive_pipe_rises"
	DriveOffLand    = "drive_pipe_off_the_land"
	SupplyTooFlat   = "supply_too_flat"
	SupplyOffLand   = "supply_off_the_land"
	BoxTooNear      = "settling_box_too_near"
	BoxTooLow       = "settling_box_below_creek"
	StandpipeTooLow = "standpipe_too_low"
)

// Reject sums up the pump stations that one limit rules out.
type Reject struct {
	Reason       string
	Count        int     // of stations
	StationM     float64 // of the nearest miss
	Value, Limit quantity.Value
}

// Stats counts the work of a search.
type Stats struct {
	Stations, Pairs     int // drive pipes that fit by length
	Options             int // supply pipe, box and flow
	Evaluations, Bounds int64
}

// Result is what a search found.
type Result struct {
	Status   Status
	Ranked   []Candidate // best first by the problem's objective, all different; winners of the other objectives follow
	Reaches  []Reach     // downstream
	Rejected []Reject
	Findings []finding.Finding // when infeasible: the nearest miss
	Stats    Stats
}

// Run searches a problem. It fails only on ctx; what cannot be built is in the
// result. The same problem gives the same result with any number of workers.
func Run(ctx context.Context, p Problem, s *Settings) (*Result, error) {
	if s == nil {
		s = &Settings{}
	}
	st, err := newSite(ctx, &p, s)
	if err != nil {
		return nil, err
	}
	return st.run(ctx)
}
