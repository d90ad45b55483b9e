package catalog

import (
	"fmt"
	"math"
	"sort"
)

// packCount is a number of packs of one item.
type packCount struct {
	item  *Item
	count int64
}

// A pack's length is handled in whole units of 0.1 mm, in which an inch, a
// foot and a millimetre are all exact.
const unitsPerMetre = 10000

// LongestRunM is the longest run of pipe in metres that can be priced.
const LongestRunM = 1e6

// PipeCost is the price of a run of pipe of the given length in metres, with
// waste as a share of it (0.05 is 5 %): the cheapest set of whole packs of the
// product of item id that is long enough, and the couplings and clamps between
// them. Packs of different lengths are mixed where that is cheaper. The price
// never falls when the run gets longer, whatever the price list. A length of 0
// costs nothing.
//
// The item must be a pipe of the catalog, the length and the waste must not be
// negative and the run no longer than LongestRunM.
func (c *Catalog) PipeCost(id string, lengthM, waste float64) Money {
	it := c.pipe(id)
	packs := c.cover(it, lengthM, waste)
	join := c.joinPrice(it)
	total, err := Money{Currency: c.Currency}, error(nil)
	for i := 0; i < len(packs) && err == nil; i++ {
		total, err = addTimes(total, packs[i].item.Price, packs[i].count)
	}
	if joins := countPacks(packs) - 1; err == nil && joins > 0 {
		total, err = addTimes(total, join, joins)
	}
	if err != nil {
		panic("catalog: PipeCost: the price does not fit")
	}
	return total
}

// pipe finds a pipe; asking for anything else is a mistake of the caller.
func (c *Catalog) pipe(id string) *Item {
	it, ok := c.byID[id]
	if !ok || it.Kind != KindPipe {
		panic(fmt.Sprintf("catalog: %q is not a pipe of the catalog", id))
	}
	return it
}

func addTimes(sum, price Money, n int64) (Money, error) {
	amount, err := price.Times(n)
	if err != nil {
		return Money{}, err
	}
	return sum.Add(amount)
}

func countPacks(packs []packCount) int64 {
	var n int64
	for _, p := range packs {
		n += p.count
	}
	return n
}

// Step is one step of the price of a run: it holds for runs longer than the
// step before and no longer than UpToM.
type Step struct {
	UpToM float64
	Price Money
}

// PipeSteps gives PipeCost with the given waste as a step function of the
// length, up to at least maxM metres: UpToM and Price both increase strictly.
func (c *Catalog) PipeSteps(id string, maxM, waste float64) []Step {
	var steps []Step
	for reach := 0.0; reach < maxM; {
		// A hair more than what is covered so far needs the next packs.
		next := reach + 1.5/unitsPerMetre
		var covered float64
		for _, p := range c.cover(c.pipe(id), next, waste) {
			covered += float64(p.count) * p.item.PackM
		}
		reach = math.Max(covered/(1+waste), next)
		price := c.PipeCost(id, next, waste)
		if n := len(steps); n > 0 && steps[n-1].Price == price {
			steps[n-1].UpToM = reach
			continue
		}
		steps = append(steps, Step{UpToM: reach, Price: price})
	}
	return steps
}

// cover chooses the packs for a run: least price with joins, then fewest
// packs, then the longer packs. It is the covering form of the unbounded
// knapsack problem, solved exactly by dynamic programming over multiples of
// the greatest common divisor of the pack lengths; the price cannot fall with
// length because every set that covers a longer run also covers a shorter one.
func (c *Catalog) cover(it *Item, lengthM, waste float64) []packCount {
	if !(lengthM >= 0 && waste >= 0 && lengthM*(1+waste) <= LongestRunM) {
		panic("catalog: the length or the waste of a run is out of range")
	}
	// A micrometre of tolerance: 30.48 m must be one coil of 100 ft.
	need := int64(math.Ceil((lengthM*(1+waste) - 1e-6) * unitsPerMetre))
	if need <= 0 {
		return nil
	}
	packs := c.packs(it)
	sort.SliceStable(packs, func(i, j int) bool { return packs[i].PackM > packs[j].PackM })
	units := make([]int64, len(packs))
	for i, p := range packs {
		units[i] = int64(math.Round(p.PackM * unitsPerMetre))
	}
	if len(packs) == 1 {
		return []packCount{{packs[0], (need + units[0] - 1) / units[0]}}
	}
	join := c.joinPrice(it).Minor
	prices := make([]int64, len(packs))
	for i, p := range packs {
		prices[i] = p.Price.Minor + join
	}
	var list []packCount
	for i, n := range cheapestCover(need, units, prices) {
		if n > 0 {
			list = append(list, packCount{packs[i], n})
		}
	}
	return list
}

// coverCells bounds the table of cheapestCover; beyond it, pack lengths are
// rounded down to a coarser unit, which can only buy too much.
const coverCells = 1 << 20

// cheapestCover gives how many of each pack cover the need at the least price,
// then with the fewest packs, then with packs that come first in the list.
func cheapestCover(need int64, units, prices []int64) []int64 {
	g := units[0]
	for _, u := range units[1:] {
		g = gcd(g, u)
	}
	if need/g > coverCells {
		g = max(g, need/coverCells)
	}
	cells := (need + g - 1) / g
	type best struct {
		price int64
		packs int32
		last  int32 // pack that was put in last
	}
	table := make([]best, cells+1)
	for n := int64(1); n <= cells; n++ {
		b := best{price: math.MaxInt64}
		for i, u := range units {
			step := u / g
			if step == 0 {
				continue // shorter than the coarse unit of a very long run
			}
			from := table[max(0, n-step)]
			price, packs := from.price+prices[i], from.packs+1
			if price < b.price || price == b.price && packs < b.packs {
				b = best{price, packs, int32(i)}
			}
		}
		table[n] = b
	}
	counts := make([]int64, len(units))
	for n := cells; n > 0; {
		i := table[n].last
		counts[i]++
		n -= units[i] / g
	}
	return counts
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
