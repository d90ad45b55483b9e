package profile

import (
	"math"

	"github.com/paulmach/orb"
)

// smoothing is how much a fit resists bending, and where it does not. The zero
// value is the plain falling fit.
type smoothing struct {
	// stiffness is in units of one over the scatter of the heights: the loss
	// grows with metres, the bending energy with their square. It holds for
	// stations a cell apart and is carried over to other steps so that
	// stiffness·step⁴ stays.
	stiffness float64
	// knickBend: the line bends freely where the plain fit falls over two
	// cells by more than the mean grade around lets expect, by so many times
	// the scatter of the raw heights' bends from cell to cell.
	knickBend float64
}

// smoothings are those among which the data choose. With few free knickpoints
// (a large knickBend) the line is smooth and noise becomes no step; with many
// the steps of a creek stay what they are.
var smoothings = []smoothing{{}, {0.3, 2}, {10, 2}, {10, 5}}

// bySmoothness are their numbers, the smoothest first.
var bySmoothness = []int{3, 2, 1, 0}

// pilot is the smoothing whose line stands for the creek while the others are
// judged: steps stay in it.
const pilot = 2

const (
	windowStations = 160 // of the stretches that the choice looks at
	mostWindows    = 6
	drawnWindows   = 2 // stretches to which errors are drawn
	errorDrawCount = 8
	marginCells    = 5 // at the ends of a stretch, where a fit lacks neighbours
	drawSeed       = 1
)

// trial is what the choice of a smoothing has found out: the smoothing, and
// what is left of the surface's error in its fit.
type trial struct {
	smoothing
	passed passed
}

// try chooses the smoothing whose falls have the least estimated error, and
// sees what is left of the surface's error in it.
//
// With u the plain falling fit, e its error and f that of another fit of the
// same heights, the mean square of what their falls differ by is
// E(f−e)² = E f² + E e² − 2 E fe, so that
//
//	E f² − const = mean (Δz−Δu)² + 2·Cov(Δz, Δu)
//
// estimates the error of a fit without bias but for that of u. The covariance
// comes from fits to drawn errors: the covariance penalty of Efron (2004,
// Journal of the American Statistical Association 99, 619–632). The plain fit
// takes the place of the raw heights, because nothing that stands above the
// creek moves it far.
func (p *Profile) try(g Ground, o ThalwegOptions, weight []float64) trial {
	white := p.whiteVariance(g)
	none := trial{smoothings[0], passed{ownVar: white, ownWithinM: o.unitM(), cellM: o.unitM()}}
	windows := p.windows()
	lags := o.lags(windows)
	if len(lags) == 0 {
		return none
	}
	short := lags[:min(2, len(lags))]
	cost := make([]samples, len(smoothings))
	lines := make([][][]float64, len(smoothings)) // by smoothing and window
	rough := make([]roughness, len(windows))
	misfit := make([][]float64, len(smoothings)) // mean square, by smoothing and lag
	for c := range misfit {
		misfit[c] = make([]float64, len(lags))
	}
	for k, w := range windows {
		plain := p.fallBetween(w, p.RawM, weight, o, smoothings[0], nil)
		for c := range smoothings {
			z := p.fallBetween(w, p.RawM, weight, o, smoothings[c], &rough[k])
			lines[c] = append(lines[c], z)
			cost[c].add(squaresByBlock(z, plain, short, o.margin()))
			for l, lag := range lags {
				misfit[c][l] += meanFallProduct(z, plain, z, plain, lag, o.margin()) / float64(len(windows))
			}
		}
	}
	fits := p.fitDraws(g, o, weight, windows, lines[pilot], rough, bySmoothness)
	if len(fits) == 0 {
		return none
	}
	penalty := make([]samples, len(smoothings))
	for c := range smoothings {
		penalty[c] = fits.penalties(c, short, o.margin())
	}
	best := choose(cost, penalty)
	if best != pilot {
		which := []int{0} // each once: the means are over the draws
		if best != 0 {
			which = append(which, best)
		}
		fits = p.fitDraws(g, o, weight, windows, lines[best], rough, which)
	}
	return trial{smoothings[best], fits.passed(best, misfit[best], len(windows), lags, o)}
}

// samples are about independent samples of a mean.
type samples []float64

func (s *samples) add(v samples) { *s = append(*s, v...) }

// meanDifference is the mean of s−o and its squared standard error.
func (s samples) meanDifference(o samples) (mean, variance float64) {
	n := float64(len(s))
	for i := range s {
		mean += (s[i] - o[i]) / n
	}
	for i := range s {
		d := s[i] - o[i] - mean
		variance += d * d / n / max(1, n-1)
	}
	return mean, variance
}

// choose is the smoothest of the smoothings whose cost is not above the least
// by more than half a standard error of the difference (after the rule of
// Breiman, Friedman, Olshen and Stone 1984, Classification and Regression Trees, §3.4.3).
func choose(cost, penalty []samples) int {
	compare := func(a, b int) (difference, sigma float64) {
		d, dv := cost[a].meanDifference(cost[b])
		p, pv := penalty[a].meanDifference(penalty[b])
		return d + p, math.Sqrt(dv + pv)
	}
	best := 0
	for c := range cost {
		if d, _ := compare(c, best); d < 0 {
			best = c
		}
	}
	for _, c := range bySmoothness {
		if d, sigma := compare(c, best); d <= chooseWithin*sigma {
			return c
		}
	}
	return best
}

// chooseWithin is how many standard errors a smoother line may cost more. A
// whole one, the usual rule, rounds off steps on 1 m lidar; none leaves it to
// chance on 30 m cells (TestFitsOnSimulatedCreeks).
const chooseWithin = 0.5

// squaresByBlock are the means, over blocks as long as the longest lag, of the
// squared differences between the falls of two lines, summed over the lags.
func squaresByBlock(a, b []float64, lags []int, margin int) samples {
	block := lags[0]
	for _, lag := range lags {
		block = max(block, lag)
	}
	var out samples
	for from := margin; from+2*block <= len(a)-margin; from += block {
		sum := 0.0
		for _, lag := range lags {
			for i := from; i < from+block; i++ {
				d := a[i] - a[i+lag] - b[i] + b[i+lag]
				sum += d * d / float64(block)
			}
		}
		out = append(out, sum)
	}
	return out
}

// penalties are, by draw, twice the covariance of the falls of a smoothing with
// those of the plain fit, summed over the lags.
func (f drawnFits) penalties(c int, lags []int, margin int) samples {
	out := make(samples, errorDrawCount)
	for _, w := range f {
		for k := range out {
			for _, lag := range lags {
				out[k] += 2 * meanFallProduct(w.fit[c][k], w.mean[c], w.fit[0][k], w.mean[0], lag, margin) *
					errorDrawCount / (errorDrawCount - 1) / float64(len(f))
			}
		}
	}
	return out
}

// windows are the stretches at which the choice looks, evenly spread.
func (p *Profile) windows() []reach {
	n := p.Len()
	count := max(1, min(mostWindows, n/windowStations))
	size := min(n, windowStations)
	if count == 1 {
		size = min(n, 2*windowStations)
	}
	out := make([]reach, count)
	for k := range out {
		from := 0
		if count > 1 {
			from = (n - size) * k / (count - 1)
		}
		out[k] = reach{from, from + size - 1}
	}
	return out
}

// unitM is the distance in which errors along the line are counted: a cell, and
// two stations on cells that are finer than the stations lie apart.
func (o ThalwegOptions) unitM() float64 { return max(o.CellM, 2*o.stepM()) }

// margin is how many stations at the ends of a stretch do not count.
func (o ThalwegOptions) margin() int { return int(math.Round(marginCells * o.unitM() / o.stepM())) }

// lags are the distances, in stations, over which falls are judged, the short
// ones on which the choice rests first.
func (o ThalwegOptions) lags(windows []reach) []int {
	var out []int
	for _, m := range []float64{max(10, o.unitM()), max(30, 3*o.unitM()), o.unitM(), o.stepM(), max(100, 10*o.unitM())} {
		lag := max(1, int(math.Round(m/o.stepM())))
		if windows[0].to-windows[0].from-2*o.margin() >= 2*lag {
			out = append(out, lag)
		}
	}
	return out
}

// fallBetween fits a stretch of the profile alone, to heights y.
func (p *Profile) fallBetween(r reach, y, weight []float64, o ThalwegOptions, how smoothing, rough *roughness) []float64 {
	return fallingLine(p.Stations[r.from:r.to+1], y[r.from:r.to+1], weight[r.from:r.to+1], 0.5, o, how, rough)
}

// meanFallProduct is the mean of (Δa−Δb)·(Δc−Δd) over the falls of a lag.
func meanFallProduct(a, b, c, d []float64, lag, margin int) float64 {
	sum, n := 0.0, 0
	for i := margin; i+lag < len(a)-margin; i++ {
		j := i + lag
		sum += (a[i] - a[j] - b[i] + b[j]) * (c[i] - c[j] - d[i] + d[j])
		n++
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

// drawnFits are the fits to drawn errors: for every stretch and draw the error
// that goes together along the line, and the fit of each smoothing.
type drawnFits []drawnWindow

type drawnWindow struct {
	cellStations int           // stations to a cell
	common       [][]float64   // by draw
	fit          [][][]float64 // by smoothing and draw
	mean         [][]float64   // by smoothing, over the draws
}

// fitDraws fits some of the smoothings to a line with drawn errors on it.
// Stiffness and knickpoints follow the roughness of the heights themselves.
func (p *Profile) fitDraws(g Ground, o ThalwegOptions, weight []float64, windows []reach, lines [][]float64, rough []roughness, which []int) drawnFits {
	var out drawnFits
	step := max(1, len(windows)/drawnWindows)
	for k := min(step/2, len(windows)-1); k < len(windows) && len(out) < drawnWindows; k += step {
		w := windows[k]
		d := p.newErrorDraws(g, o, w, drawSeed+uint64(k))
		if d == nil {
			continue
		}
		dw := drawnWindow{cellStations: int(math.Round(o.unitM() / o.stepM())), fit: make([][][]float64, len(smoothings)), mean: make([][]float64, len(smoothings))}
		y := make([]float64, p.Len())
		spikes := p.spikes(w, lines[k], weight)
		for range errorDrawCount {
			d.next()
			dw.common = append(dw.common, append([]float64(nil), d.common...))
			shift := d.random.IntN(len(spikes))
			for i, e := range d.read {
				y[w.from+i] = lines[k][i] + e + spikes[(i+shift)%len(spikes)]
			}
			for _, c := range which {
				dw.fit[c] = append(dw.fit[c], p.fallBetween(w, y, weight, o, smoothings[c], &rough[k]))
			}
		}
		for _, c := range which {
			dw.mean[c] = make([]float64, w.to-w.from+1)
			for _, z := range dw.fit[c] {
				for i := range z {
					dw.mean[c][i] += z[i] / errorDrawCount
				}
			}
		}
		out = append(out, dw)
	}
	return out
}

// spikes are how far heights stand above the line beyond chance (three times
// the usual scatter), 0 for the others: trees, banks and what else is not in
// the surface's error. The draws show them shifted along the creek.
func (p *Profile) spikes(r reach, line, weight []float64) []float64 {
	const beyond = 3
	out := make([]float64, len(line))
	var residual []float64
	for i := range line {
		if weight[r.from+i] > 0 {
			out[i] = p.RawM[r.from+i] - line[i]
			residual = append(residual, out[i])
		}
	}
	limit := beyond * nmad(residual)
	for i := range out {
		if out[i] <= limit {
			out[i] = 0
		}
	}
	return out
}

// covariance of the falls that two smoothings give, over the draws.
func (f drawnFits) covariance(a, b, lag, margin int) float64 {
	sum := 0.0
	for _, w := range f {
		for k := range w.fit[a] {
			sum += meanFallProduct(w.fit[a][k], w.mean[a], w.fit[b][k], w.mean[b], lag, margin)
		}
	}
	return sum / float64(len(f)*(errorDrawCount-1))
}

// passed is what is left of the surface's error in the fitted heights. A
// fitted height is about a mean of the heights around it: what goes together
// over a distance is averaged over withinM to each side (passWeights), and
// ownVar is the variance of what else is left of the white part, common to two
// stations as far as the windows of ownWithinM to each side overlap.
type passed struct {
	withinM    float64
	ownVar     float64
	ownWithinM float64
	ownSmooth  bool // shared like exp(−(d/ownWithinM)²), as by a line that resists bending
	cellM      float64
	// The fit went on beyond the ends of the profile for so far.
	beforeM, afterM float64
}

// passWeights are the weights of a mean at −1, −¾, … and 1 of its half width.
var passWeights = [...]float64{1. / 25, 2. / 25, 3. / 25, 4. / 25, 5. / 25, 4. / 25, 3. / 25, 2. / 25, 1. / 25}

// mostNodes is the half width in nodes up to which a mean is taken: nodes are
// the cells, and for wider means every second of them, every third and so on.
const mostNodes = 4

// nodeShares are the weights of a mean by passWeights of heights that are
// straight from one node to the next, for a half width and at a place, both in
// cells: shares[k] belongs to the cell (first+k)·every. A raster's heights are
// straight between its cells, so that a station between two of them has less
// error of its own; without that a mean would look rougher than it is.
func nodeShares(at, half float64) (first, every int, shares [2*mostNodes + 2]float64) {
	every = max(1, int(math.Ceil(half/mostNodes)))
	at, half = at/float64(every), half/float64(every)
	node := math.Floor(at)
	for k, share := range passWeights {
		x := at - node + mostNodes + half*(float64(k)/4-1)
		i := min(int(x), len(shares)-2)
		t := x - float64(i)
		shares[i] += share * (1 - t)
		shares[i+1] += share * t
	}
	return int(node) - mostNodes, every, shares
}

// spots appends the places whose errors make up that of a fitted height. Cells
// count from station 0.
func (p passed) spots(spots []spot, s Station, weight float64, pointAt func(Station) orb.Point) []spot {
	if p.cellM == 0 {
		return append(spots, spot{pointAt(s), weight})
	}
	first, every, shares := nodeShares(float64(s)/p.cellM, p.withinM/p.cellM)
	for k, share := range shares {
		if share != 0 {
			spots = append(spots, spot{pointAt(Station(float64((first+k)*every) * p.cellM)), weight * share})
		}
	}
	return spots
}

// passed finds the mean that comes nearest to what the fits of a smoothing
// leave of the drawn errors: nearest in the variances of falls over the lags,
// relative to themselves. misfit is the mean square of what its falls differ by
// from those of the plain fit, over so many windows.
func (f drawnFits) passed(c int, misfit []float64, windows int, lags []int, o ThalwegOptions) passed {
	variance := make([]float64, len(lags))
	for l, lag := range lags {
		left := f.covariance(c, c, lag, o.margin())
		variance[l] = left + f.roundedOff(c, left, misfit[l], windows, lag, o.margin())
	}
	best, least := passed{ownWithinM: o.unitM(), cellM: o.unitM()}, math.Inf(1)
	for _, cells := range halfWidths {
		left := f.averaged(cells, lags, o.margin())
		for _, shared := range halfWidths[1:] {
			for _, smooth := range []bool{false, true} {
				p := passed{withinM: cells * o.unitM(), ownWithinM: shared * o.unitM(), ownSmooth: smooth, cellM: o.unitM()}
				if off := p.take(left, variance, lags, o); off < least {
					best, least = p, off
				}
			}
		}
	}
	return best
}

// usuallyRounded is how much of the square error of the best smoothing is the
// creek that it rounds off, over what it leaves of the surface's error. Stiffer
// lines leave less and round off more, and at the least sum the two are about
// alike. On simulated creeks of 10 and 30 m cells it is 1 to 2.
const usuallyRounded = 1.5

// roundedOff is the mean square of what the fit has rounded off in falls over a
// lag. It shows as misfit beyond what the drawn errors make it. On coarse cells
// chance moves that by as much as it is, so that it is weighed, by
// variances, with what is usual for a fit that leaves so much of the surface's
// error, which is taken to be known to within so much.
func (f drawnFits) roundedOff(c int, left, misfit float64, windows, lag, margin int) float64 {
	chance := f.misfitVariance(c, lag, margin) / float64(windows)
	if chance == 0 {
		return 0 // the plain fit, or no error
	}
	found := misfit - (left + f.covariance(0, 0, lag, margin) - 2*f.covariance(c, 0, lag, margin))
	return max(0, (usuallyRounded*left*chance+found*left*left)/(chance+left*left))
}

// halfWidths are the half widths of the means that are tried, in cells.
var halfWidths = []float64{0, 1, 1.5, 2, 2.5, 3, 3.5, 4, 5, 7, 10, 14, 20}

// take gives the own variance that makes the variances of falls over the lags
// come nearest to those wanted, with what a mean leaves of the common error, and
// how far off they remain.
func (p *passed) take(left, variance []float64, lags []int, o ThalwegOptions) (off float64) {
	var above, below float64
	for l, lag := range lags {
		slope := 2 * p.apart(float64(lag)*o.stepM()) / variance[l]
		above += (1 - left[l]/variance[l]) * slope
		below += slope * slope
	}
	p.ownVar = max(0, above/below)
	for l, lag := range lags {
		d := (left[l]+2*p.ownVar*p.apart(float64(lag)*o.stepM()))/variance[l] - 1
		off += d * d
	}
	return off
}

// apart is the share of the own variance that two stations do not have in
// common.
func (p passed) apart(distM float64) float64 {
	if p.ownSmooth {
		d := distM / p.ownWithinM
		return -math.Expm1(-d * d)
	}
	return apart(distM, p.ownWithinM)
}

// apart is the share that two means over withinM to each side do not have in
// common.
func apart(distM, withinM float64) float64 { return min(1, distM/(2*withinM)) }

// misfitVariance is the variance, from draw to draw, of the mean square of what
// the falls of a smoothing and of the plain fit differ by on a stretch.
func (f drawnFits) misfitVariance(c, lag, margin int) float64 {
	var sum, square, n float64
	for _, w := range f {
		for k := range w.fit[c] {
			m := meanFallProduct(w.fit[c][k], w.fit[0][k], w.fit[c][k], w.fit[0][k], lag, margin)
			sum, square, n = sum+m, square+m*m, n+1
		}
	}
	return max(0, square/n-sum*sum/n/n) * n / (n - 1)
}

// averaged are the mean squares, by lag, of falls of the common drawn errors,
// averaged over so many cells to each side.
func (f drawnFits) averaged(halfCells float64, lags []int, margin int) []float64 {
	out := make([]float64, len(lags))
	zero := []float64(nil)
	for _, w := range f {
		if len(zero) != len(w.common[0]) {
			zero = make([]float64, len(w.common[0]))
		}
		for _, e := range w.common {
			z := averageLine(e, halfCells, w.cellStations)
			for l, lag := range lags {
				out[l] += meanFallProduct(z, zero, z, zero, lag, margin) / float64(len(f)*errorDrawCount)
			}
		}
	}
	return out
}

// averageLine is the mean by nodeShares, with so many stations to a cell; what
// lies beyond the ends counts like the ends.
func averageLine(e []float64, halfCells float64, cellStations int) []float64 {
	out := make([]float64, len(e))
	for i := range e {
		first, every, shares := nodeShares(float64(i)/float64(cellStations), halfCells)
		for k, share := range shares {
			if share != 0 {
				out[i] += share * e[max(0, min(len(e)-1, (first+k)*every*cellStations))]
			}
		}
	}
	return out
}
