// Package optimize chooses the places, the pipes and the pumps: an exact
// search over intake, standpipe and pump stations for every choice of pipe,
// bore, number of pumps and flow.
package optimize

import (
	"github.com/paulmach/orb"

	"route/internal/catalog"
	"route/internal/hydraulics"
	"route/internal/profile"
)

// Objective is what is best.
type Objective string

// The objectives.
const (
	MostHead  Objective = "most_head"
	MostWater Objective = "most_water"
	LeastCost Objective = "least_cost"
)

// DeliveryWay is what the delivery line from a pump station to the tank looks
// like; OK is false where there is none.
type DeliveryWay struct {
	LengthM float64 // along the slope
	CrestM  float64 // highest ground on the way
	OK      bool
}

// Problem is one site, ready to be searched. Slices named ...At have an entry
// a station.
type Problem struct {
	Creek      *profile.Profile
	Ground     profile.Ground
	DeliveryAt []DeliveryWay
	// Land: where an intake, a standpipe and a pump may stand, and where the
	// supply pipe may pass. nil allows all.
	IntakeAt, StandpipeAt, PumpAt, PassAt []bool
	// ChordAllowed says whether a straight drive pipe may cross the land
	// between two points; nil allows all.
	ChordAllowed func(a, b orb.Point) bool

	TankInletM float64 // height of the tank inlet
	TakeFlow   float64 // m³/s that may be drawn
	Demand     float64 // m³/s wanted at the tank; 0 when none is stated
	Fluid      hydraulics.Fluid
	Catalog    *catalog.Catalog
	Limits     Limits
	Choices    Choices
	Objective  Objective
	Layouts    int // how many different layouts are wanted
}

// Choices are the items that the search may use; IDs of the catalog.
type Choices struct {
	SupplyPipes, DrivePipes, DeliveryPipes, Pumps []string
	PumpCounts                                    []int
	SettlingBox                                   []bool // which of with and without
	Tuning                                        [2]float64
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
	BoxDropM, BoxLeadM               float64 // fall spent at the settling box; its distance from the intake
	PumpAboveCreekM                  float64 // waste valve outlet above the creek
	DriveDigM, DriveTrestleM         float64 // chord below and above the ground
	LiftRatioMax                     float64
	SeparationM                      float64 // pump or intake distance that makes layouts different
}
