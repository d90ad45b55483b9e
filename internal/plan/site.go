package plan

import (
	"path/filepath"
	"strings"

	"route/internal/geodesy"
	"route/internal/optimize"
	"route/internal/quantity"
)

// Site is what the user says about a job: the content of a site file, or the
// same from flags. Quantities are SI. NewSite fills in the usual values.
type Site struct {
	File    string // the site file; "" when the site comes from flags
	Name    string
	Units   quantity.System
	Terrain []string // rasters, in order of preference
	ZUnit   string   // "", m, ft or us-ft: overrides what the raster says
	// Accuracy overrides the accuracy class of the terrain: lidar_open,
	// lidar_forest, mixed_10m or global_30m; "" takes what the raster suggests.
	Accuracy string
	CRS      string // of a raster that declares none
	// StakesCRS is the coordinate system in which stakes are wanted besides
	// degrees and UTM, as an EPSG code; "" for none.
	StakesCRS string
	Creek     string // track or line of the creek, or a table of its levels
	// CreekLine is the track or line beside a table of levels; "" where its
	// points have their own coordinates.
	CreekLine string
	Track     string // name of the track in the file, "" for the longest
	Tank      TankSite
	LowFlow   float64 // m³/s, the creek's lowest; 0 when not given
	// LowFlowReading is how the low flow was measured; nil when it is given as
	// a number.
	LowFlowReading *FlowReading
	UsualFlow      float64 // m³/s; 0 when not given
	TakeShare      float64 // of the low flow
	Demand         float64 // m³/s; 0 when not given
	// DemandUses are the uses that add up to the demand, where they are listed.
	DemandUses []DemandUse
	// ReserveS is how many seconds of the demand the tank should hold.
	ReserveS float64
	// DemandMargin is planned on top of the demand, as a share of it: the
	// model of a pump that nobody has measured may be off by a quarter.
	DemandMargin float64
	Objective    optimize.Objective
	Certainty    float64 // chance that the water must be reached with; 0: none is asked for
	Limits       optimize.Limits
	// SupplyRoute is creek or free: whether supply pipes may leave the creek.
	SupplyRoute string
	// SupplyDigM and SupplyTrestleM are how far below and above the ground a
	// supply pipe may lie away from the creek; SupplySavingM is what leaving it
	// must save.
	SupplyDigM, SupplyTrestleM, SupplySavingM float64
	// DeliveryMaxM bounds the delivery line, and with it how far from the
	// tank anything is looked at.
	DeliveryMaxM float64
	Choices      PipeChoices
	Pins         Pins // places that the user has chosen
	PumpMeasured MeasuredPump
	Land         string // polygons and lines
	Laying       LayingSite
	Catalog      string // own prices, "" for the embedded list
	Currency     string
	PipeWaste    float64 // for cuts and laying, as a share of each run
	Contingency  float64 // for what was forgotten, as a share of the cost
	Field        []FieldReading
	TemperatureK float64
	AltitudeM    float64 // NaN: taken from the terrain
	TrackSigmaM  float64 // of the track's fixes
	Seed         uint64
	Replans      int     // how often the plan is made again on terrain that errs
	HourCost     float64 // of measuring, in the currency of the prices
	PriceSpread  float64 // standard deviation of prices, as a share
	PlaceStepM   float64 // how far apart along the creek places are tried
	Layouts      int     // how many different layouts are wanted
	FrontPoints  int     // demands for which the least cost is worked out; 0 leaves it out

	given map[string]bool // keys that the user set
	// soldIn is the unit system in which pipes are sold, where words and
	// figures are wanted in another; nil takes Units.
	soldIn *quantity.System
	drawn  *drawnCreek // stands for the creek file; see DrawCreek
}

// TankSite is where the tank stands.
type TankSite struct {
	At                geodesy.LonLat
	Waypoint          string // name of a waypoint in the creek file; "" when At is given
	InletAboveGroundM float64
}

// PipeChoices restricts what the search may use; empty lists mean all that
// the catalog has.
type PipeChoices struct {
	Supply, Drive, Delivery, Pumps []string
	MaxPumps                       int
	SettlingBox                    string // auto, always, never
}

// path resolves a name in the site file against the file's own folder. URLs
// and absolute paths stay as they are.
func (s *Site) path(name string) string {
	if name == "" || filepath.IsAbs(name) || strings.Contains(name, "://") || strings.HasPrefix(name, "/vsi") || s.File == "" {
		return name
	}
	return filepath.Join(filepath.Dir(s.File), name)
}

// Given says whether the user set a key of the site file.
func (s *Site) Given(key string) bool { return s.given[key] }

// SetTerrain names the rasters, each name as it stands: commas are part of it.
func (s *Site) SetTerrain(names []string) {
	s.Terrain = names
	s.given["terrain"] = true
}
