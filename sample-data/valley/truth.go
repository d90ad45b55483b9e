package valley

import (
	"math"
	"math/rand/v2"

	"github.com/paulmach/orb"

	"route/internal/geodesy"
)

// Truth is what is known about a place without error. Stations are metres
// along the thalweg in plan from the upper end of the walk; heights are metres.
type Truth struct {
	Place      string       `json:"place"`
	PROJ       string       `json:"proj"` // frame of the stations and lengths
	WalkFromM  float64      `json:"walk_upper_m"`
	WalkToM    float64      `json:"walk_lower_m"`
	TrackRMSM  float64      `json:"track_error_rms_m"`
	ScanError  ErrorModel   `json:"scan_error"`
	Tank       TrueTank     `json:"tank"`
	Embankment *Embankment  `json:"embankment"` // null where there is none
	Pool       *Pool        `json:"dammed_pool"`
	Waterfall  *Drop        `json:"waterfall"`
	Voids      []TrueVoid   `json:"voids"`
	Falls      []Fall       `json:"falls"`
	Thalweg    []TrueBottom `json:"thalweg"`
}

// TrueTank is the tank.
type TrueTank struct {
	Lon     float64 `json:"lon"`
	Lat     float64 `json:"lat"`
	GroundM float64 `json:"ground_m"`
	InletM  float64 `json:"inlet_m"`
	CreekM  float64 `json:"above_nearest_creek_m"` // ground above the nearest water
	AwayM   float64 `json:"from_nearest_creek_m"`
}

// Embankment is where the road fill hides the creek.
type Embankment struct {
	FromM    float64 `json:"from_m"` // stations between which the scan shows the fill
	ToM      float64 `json:"to_m"`
	StationM float64 `json:"station_m"`
	CrestM   float64 `json:"crest_m"`
	HeightM  float64 `json:"height_above_water_m"`
	Lon      float64 `json:"lon"`
	Lat      float64 `json:"lat"`
}

// Pool is level water behind a dam.
type Pool struct {
	FromM  float64 `json:"from_m"`
	CrestM float64 `json:"dam_m"`
	WaterM float64 `json:"water_m"`
	DropM  float64 `json:"drop_over_dam_m"`
}

// Drop is a waterfall.
type Drop struct {
	StationM float64 `json:"station_m"`
	DropM    float64 `json:"drop_m"`
	Lon      float64 `json:"lon"`
	Lat      float64 `json:"lat"`
}

// TrueVoid is a hole in the scan.
type TrueVoid struct {
	Lon      float64  `json:"lon"`
	Lat      float64  `json:"lat"`
	RadiusM  float64  `json:"radius_m"`
	StationM *float64 `json:"station_m"` // null away from the creek
}

// Fall is the fall of the water between two stations.
type Fall struct {
	FromM float64 `json:"from_m"`
	ToM   float64 `json:"to_m"`
	FallM float64 `json:"fall_m"`
}

// TrueBottom is a point of the thalweg.
type TrueBottom struct {
	StationM float64 `json:"station_m"`
	Lon      float64 `json:"lon"`
	Lat      float64 `json:"lat"`
	WaterM   float64 `json:"water_m"`
	BedM     float64 `json:"bed_m"`
}

// Frame is the flat frame of the place.
func (p *Place) Frame() *geodesy.Frame { return p.frame }

// LonLat is a point of the frame in degrees, to seven decimals, about 1 cm.
func (p *Place) LonLat(at orb.Point) geodesy.LonLat {
	q := p.frame.ToLonLat(at)
	return geodesy.LonLat{Lon: math.Round(q.Lon*1e7) / 1e7, Lat: math.Round(q.Lat*1e7) / 1e7}
}

// Water is the height of the water surface at a station.
func (p *Place) Water(stationM float64) float64 { return p.creek.at(p.creek.water, stationM) }

// Bed is the height of the bottom of the channel at a station.
func (p *Place) Bed(stationM float64) float64 { return p.creek.at(p.creek.bed, stationM) }

// CreekPoint is the thalweg at a station.
func (p *Place) CreekPoint(stationM float64) orb.Point { return p.creek.point(stationM) }

// StationOf is the station of the thalweg's nearest point, and how far it is;
// ok is false beyond 100 m.
func (p *Place) StationOf(at orb.Point) (stationM, distanceM float64, ok bool) {
	return p.creek.nearest(at, 100)
}

// Walked gives the stations between which the creek was walked, upper first.
func (p *Place) Walked() (upperM, lowerM float64) {
	return math.Min(p.walk.from, p.walk.to), math.Max(p.walk.from, p.walk.to)
}

// InPool says whether a point is open water behind the dam, and how high that
// water stands.
func (p *Place) InPool(at orb.Point) (waterM float64, ok bool) {
	if p.dam == nil {
		return 0, false
	}
	station, d, near := p.creek.nearest(at, p.widest)
	ok = near && station >= p.dam.from && station < p.dam.crest && d <= p.creek.at(p.creek.halfWidth, station)
	return p.Water(p.dam.crest - 1), ok
}

// Truth gathers everything that is known.
func (p *Place) Truth() Truth {
	t := Truth{Place: p.Name, PROJ: p.frame.PROJ(), ScanError: p.Error, TrackRMSM: p.walk.errorM}
	t.WalkFromM, t.WalkToM = p.Walked()
	t.Tank = p.trueTank()
	t.Embankment = p.embankment()
	if d := p.dam; d != nil {
		t.Pool = &Pool{FromM: d.from, CrestM: d.crest, WaterM: mm(p.Water(d.crest - 1)), DropM: d.dropM}
	}
	if w := p.fallAt; w != nil {
		at := p.LonLat(p.creek.point(w.station))
		t.Waterfall = &Drop{StationM: w.station, DropM: w.dropM, Lon: at.Lon, Lat: at.Lat}
	}
	for _, v := range p.Voids {
		at := p.LonLat(v.Centre)
		hole := TrueVoid{Lon: at.Lon, Lat: at.Lat, RadiusM: v.RadiusM}
		if s, _, ok := p.creek.nearest(v.Centre, v.RadiusM); ok {
			s = mm(s)
			hole.StationM = &s
		}
		t.Voids = append(t.Voids, hole)
	}
	t.Falls = p.falls(20)
	// 100 m beyond both ends, for those who look further than was walked.
	for s := t.WalkFromM - 100; s <= t.WalkToM+100; s++ {
		at := p.LonLat(p.creek.point(s))
		t.Thalweg = append(t.Thalweg, TrueBottom{StationM: s, Lon: at.Lon, Lat: at.Lat, WaterM: mm(p.Water(s)), BedM: mm(p.Bed(s))})
	}
	return t
}

func (p *Place) trueTank() TrueTank {
	at := p.LonLat(p.Tank.At)
	ground := p.Ground(p.Tank.At)
	station, away, _ := p.creek.nearest(p.Tank.At, 400)
	return TrueTank{
		Lon: at.Lon, Lat: at.Lat, GroundM: mm(ground), InletM: mm(ground + p.Tank.InletAboveGroundM),
		CreekM: mm(ground - p.Water(station)), AwayM: mm(away),
	}
}

// embankment finds where the scan shows the road instead of the creek.
func (p *Place) embankment() *Embankment {
	if p.road == nil {
		return nil
	}
	from, to := p.fill.station, p.fill.station
	buried := func(s float64) bool { return p.Ground(p.creek.point(s)) > p.Water(s)+0.01 }
	for buried(from - creekStepM) {
		from -= creekStepM
	}
	for buried(to + creekStepM) {
		to += creekStepM
	}
	middle := p.creek.point(p.fill.station)
	at, crest := p.LonLat(middle), p.Ground(middle)
	return &Embankment{
		FromM: from, ToM: to, StationM: p.fill.station, CrestM: mm(crest), HeightM: mm(crest - p.Water(p.fill.station)),
		Lon: at.Lon, Lat: at.Lat,
	}
}

// falls draws pairs of stations of the walked creek, at least 10 m apart, off
// the embankment, where no scan sees the water.
func (p *Place) falls(n int) []Fall {
	random := rand.New(rand.NewPCG(p.seed, 41))
	upper, lower := p.Walked()
	hidden := p.embankment()
	ok := func(s float64) bool { return hidden == nil || s < hidden.FromM-2 || s > hidden.ToM+2 }
	var falls []Fall
	for len(falls) < n {
		a := math.Round(upper + 10 + (lower-upper-20)*random.Float64())
		b := math.Round(upper + 10 + (lower-upper-20)*random.Float64())
		if b-a < 10 || !ok(a) || !ok(b) {
			continue
		}
		falls = append(falls, Fall{FromM: a, ToM: b, FallM: mm(p.Water(a) - p.Water(b))})
	}
	return falls
}

// mm rounds to a millimetre.
func mm(v float64) float64 { return math.Round(v*1000) / 1000 }
