package terrain

import "math"

// narrow keeps the cells of the ground through which a pipe that falls can
// come from one station to another by a line shorter than the creek: the least
// length so far from any station, counted from the creek's upper end, and the
// least way on to any station, less the creek down to there, add up to less than
// nothing. It also gives every cell that way on.
func (g *SupplyGround) narrow() {
	back := g.waysBack()
	start := make([]float64, len(g.cells)) // least along + length
	for k := range start {
		start[k] = math.Inf(1)
	}
	s := g.scratch.Get().(*supplySearch)
	s.start(g.n+len(g.cells), SupplyGrade{HeadM: math.Inf(1)})
	s.from, s.longest = -1, math.Inf(1)
	for k := range g.n {
		if !g.closed(k) {
			s.begin(int32(k), g.along[k])
		}
	}
	g.search(s, func(at int32, first bool) {
		if l := &s.labels[at]; first && int(l.node) >= g.n {
			start[int(l.node)-g.n] = l.length
		}
	})
	g.scratch.Put(s)

	cells := g.cells
	g.cells = nil
	for k, c := range cells {
		if start[k]+back[k] > -g.rules.LeastSavingM {
			g.id[c.at] = -1
			continue
		}
		g.id[c.at] = int32(g.n + len(g.cells))
		g.cells = append(g.cells, c)
		g.wayBack = append(g.wayBack, back[k])
	}
	g.join()
}

// waysBack gives for each cell the least of the length of a way on to a station
// less the creek's down to there, over all stations. A way may go wherever each
// step alone could be part of a pipe that falls: what comes before counts for
// nothing, so that the result is never too great.
func (g *SupplyGround) waysBack() []float64 {
	far := make([]float64, g.n+len(g.cells))
	var queue supplySearch
	for v := range far {
		far[v] = math.Inf(1)
		if v < g.n && !g.closed(v) {
			far[v] = -g.along[v]
			queue.push(heapEntry{far[v], int32(v)})
		}
	}
	offer := func(v int32, length float64) {
		if length < far[v] {
			far[v] = length
			queue.push(heapEntry{length, v})
		}
	}
	// falls says whether a pipe may come from one node to another.
	falls := func(from, to int32) bool {
		_, highest := g.limits(from)
		lowest, _ := g.limits(to)
		return lowest <= highest
	}
	for len(queue.heap) > 0 {
		top := queue.heap[0]
		v := queue.pop()
		if top.length > far[v] {
			continue
		}
		if int(v) < g.n {
			for _, l := range g.links[v] {
				if falls(l.node, v) {
					offer(l.node, far[v]+l.length)
				}
			}
			continue
		}
		cell := &g.cells[int(v)-g.n]
		for _, l := range g.backTo[int(v)-g.n] {
			if falls(l.node, v) {
				offer(l.node, far[v]+l.length)
			}
		}
		for k, move := range supplyMoves {
			u := g.id[int(cell.at)-move.dy*g.stride-move.dx]
			if u < 0 || !falls(u, v) {
				continue
			}
			if length, ok := g.moveLength(u, v, k); ok {
				offer(u, far[v]+length)
			}
		}
	}
	return far[g.n:]
}

// moveLength is the length of move k from a cell to another; ok is false where
// it is not made.
func (g *SupplyGround) moveLength(from, to int32, k int) (length float64, ok bool) {
	a, b, move := &g.cells[int(from)-g.n], &g.cells[int(to)-g.n], supplyMoves[k]
	size, dz, here := g.grid.CellM, b.z-a.z, int(a.at)
	switch {
	case k < firstDiagonal:
		return math.Sqrt(size*size + dz*dz), true
	case k < firstKnight:
		return math.Sqrt(2*size*size + dz*dz), g.id[here+move.dx] >= 0 || g.id[here+move.dy*g.stride] >= 0
	}
	first, second := g.halves(a, to, move)
	return first.length + second.length, first.length >= 0
}
