package profile

import (
	"math"
	"sort"
)

// knickWindow is to how many cells on each side the grade counts beside which
// a knickpoint stands out.
const knickWindow = 5

// leastScatterM is the scatter under which a line needs no smoothing.
const leastScatterM = 1e-3

// roughness is how rough heights are: their scatter about the plain falling
// fit, and their usual bend from cell to cell. It sets the stiffness and the
// knickpoints.
type roughness struct{ scatterM, bendM float64 }

// roughnessOf measures heights y with the plain falling fit u, k stations a
// cell.
func roughnessOf(y, u []float64, k int) roughness {
	residual := make([]float64, len(y))
	for i := range y {
		residual[i] = y[i] - u[i]
	}
	bend := usualBend(y, k)
	// The difference of one height and the mean of two has 6/4 of the
	// variance of one, the bend twice that difference.
	return roughness{max(usualMiss(residual), bend/math.Sqrt(6)), bend}
}

// cellStations is how many stations there are to a cell.
func (o ThalwegOptions) cellStations() int { return int(math.Round(o.CellM / o.stepM())) }

// stiffen gives, for the plain falling fit u to heights y at stations at, the
// falling line that also resists bending, except at knickpoints.
func stiffen(at []Station, y, w, u []float64, tau float64, o ThalwegOptions, how smoothing, rough roughness) []float64 {
	n := len(y)
	ratio, stepM, k := o.CellM/o.stepM(), o.stepM(), max(1, o.cellStations())
	scatter, bend := rough.scatterM, rough.bendM
	if n < 5 || scatter < leastScatterM {
		return u
	}
	resist := how.stiffness / scatter * math.Pow(ratio, 4)
	// Heights are counted from the first one, so that rounding stays small.
	q := stiffProblem{at: at, y: make([]float64, n), w: w, p: make([]float64, n), tau: tau, stepM: stepM}
	start := make([]float64, n)
	free := knickpoints(at, u, k, how.knickBend*bend)
	for i := range y {
		q.y[i], start[i] = y[i]-u[0], u[i]-u[0]
		if !free[i] {
			q.p[i] = resist
		}
	}
	z := q.solve(start, scatter).z
	for i := range z {
		z[i] += u[0]
	}
	notRising(z, nil) // by the gap that is left
	return z
}

// usualBend is the usual size (normalised median deviation) of the heights'
// bends over a cell to each side, k stations a cell.
func usualBend(y []float64, k int) float64 {
	var bends []float64
	for i := k; i+k < len(y); i++ {
		bends = append(bends, y[i-k]-2*y[i]+y[i+k])
	}
	return nmad(bends)
}

// knickpoints are the stations of falls, dams and lips of large pools, which
// fall by more than limitM beyond the grade around: see smoothing.
func knickpoints(at []Station, u []float64, k int, limitM float64) []bool {
	n := len(u)
	free := make([]bool, n)
	for i := 1; i+1 < n; i++ {
		a, b := max(0, i-k), min(n-1, i+k)
		wa, wb := max(0, i-knickWindow*k), min(n-1, i+knickWindow*k)
		grade := (u[wa] - u[wb]) / float64(at[wb]-at[wa])
		if u[a]-u[b]-grade*float64(at[b]-at[a]) > limitM {
			for j := a; j <= b; j++ {
				free[j] = true
			}
		}
	}
	return free
}

// usualMiss is the standard deviation of normal errors with the mean size of
// the residuals, the largest tenth left out. On steep creeks more than half of
// a plain falling fit goes through the heights themselves, and the median
// deviation would be nothing.
func usualMiss(r []float64) float64 {
	size := make([]float64, len(r))
	for i := range r {
		size[i] = math.Abs(r[i])
	}
	sort.Float64s(size)
	keep := len(r) - len(r)/10
	sum := 0.0
	for _, v := range size[:keep] {
		sum += v
	}
	return math.Sqrt(math.Pi/2) * sum / float64(max(1, keep))
}
