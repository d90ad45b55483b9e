package optimize

import (
	"math"
	"math/rand/v2"

	"github.com/paulmach/orb"

	"route/internal/catalog"
	"route/internal/hydraulics"
	"route/internal/profile"
)

// usualLimits are those of a small installation.
func usualLimits() Limits {
	return Limits{
		DriveHeadMinM: 1, DriveHeadMaxM: 15, DriveLengthMinM: 5, DriveLengthMaxM: 30,
		StandpipeMinM: 0.3, StandpipeMaxM: 3, StandpipeFreeboardM: 0.15,
		SupplyLengthMaxM: 200, BedDepthM: 0.2, GradeLineCoverM: 0.05, IntakeLossK: 1.5,
		BoxDropM: 0.1, BoxLeadM: 6, PumpAboveCreekM: 0.3, DriveDigM: 1, DriveTrestleM: 1.5,
		LiftRatioMax: 20, SeparationM: 30,
	}
}

// kilometre is a creek of 1 km with a station every 2 m.
func kilometre() Problem {
	p := creekProblem(2000, 0.02, 1)
	c := p.Creek
	thin := &profile.Profile{}
	var ways []DeliveryWay
	for k := 0; k < len(c.ZM); k += 4 {
		thin.Stations, thin.Points = append(thin.Stations, c.Stations[k]), append(thin.Points, c.Points[k])
		thin.ZM, thin.SlopeM = append(thin.ZM, c.ZM[k]), append(thin.SlopeM, c.SlopeM[k])
		ways = append(ways, p.DeliveryAt[k])
	}
	p.Creek, p.DeliveryAt = thin, ways
	return p
}

// creekProblem is a creek that winds gently, with pools and riffles on a given
// mean slope and a station every half metre, and a house 18 m above its middle.
func creekProblem(n int, slope float64, seed uint64) Problem {
	r := rand.New(rand.NewPCG(seed, 7))
	const step = 0.5
	p := &profile.Profile{}
	x, y, z, length := 0.0, 0.0, 100+slope*float64(n)*step, 0.0
	pool := false
	left := 0
	for k := range n {
		p.Stations = append(p.Stations, profile.Station(float64(k)*step))
		p.Points = append(p.Points, orb.Point{x, y})
		p.ZM = append(p.ZM, z)
		p.SlopeM = append(p.SlopeM, length)
		if left == 0 {
			pool = !pool
			left = 6 + r.IntN(20)
		}
		left--
		fall := 1.8 * slope * step
		if pool {
			fall = 0.2 * slope * step
		}
		heading := 0.9 * math.Sin(2*math.Pi*float64(k)*step/70)
		x += step * math.Cos(heading)
		y += step * math.Sin(heading)
		z -= fall
		length += math.Hypot(step, fall)
	}
	water, err := hydraulics.Water(283.15, 100)
	if err != nil {
		panic(err)
	}
	pr := Problem{
		Creek: p, TakeFlow: 3.2e-3, Demand: 1500.0 / 86400 / 1000, Fluid: water,
		Catalog: catalog.Default("USD").In(catalog.Inch), Limits: usualLimits(),
		Choices:       Choices{PumpCounts: []int{1, 2}, SettlingBox: []bool{false, true}},
		WasteFraction: 0.05, ContingencyPart: 0.1,
	}
	house := orb.Point{x / 2, 80}
	pr.TankInletM = p.ZM[n/2] + 18
	for k := range n {
		d := math.Hypot(p.Points[k][0]-house[0], p.Points[k][1]-house[1])
		pr.DeliveryAt = append(pr.DeliveryAt, DeliveryWay{LengthM: 1.05 * math.Hypot(d, pr.TankInletM-p.ZM[k]), CrestM: pr.TankInletM - 2, OK: d < 1000})
	}
	return pr
}
