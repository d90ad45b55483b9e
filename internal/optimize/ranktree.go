package optimize

// rankTree holds intakes by their rank in head: leaf r carries the station of
// the intake with the r-th lowest head while it is in use, and every inner node
// the largest station below it. Stations are kept plus one, so that zero means
// that nobody is there.
type rankTree struct {
	size int // leaves, a power of two
	max  []int32
}

// reset empties the tree for n ranks and reuses its memory.
func (t *rankTree) reset(n int) {
	t.size = 1
	for t.size < n {
		t.size *= 2
	}
	if cap(t.max) < 2*t.size {
		t.max = make([]int32, 2*t.size)
		return
	}
	t.max = t.max[:2*t.size]
	clear(t.max)
}

// put sets the station at a rank; a negative station takes it out.
func (t *rankTree) put(rank, station int) {
	v := int32(station + 1)
	if station < 0 {
		v = 0
	}
	node := t.size + rank
	t.max[node] = v
	for node >>= 1; node >= 1; node >>= 1 {
		m := max(t.max[2*node], t.max[2*node+1])
		if t.max[node] == m {
			return
		}
		t.max[node] = m
	}
}

// highest gives the station at the highest rank not above rank whose station
// is not below from; -1 when there is none. It takes O(log n).
func (t *rankTree) highest(rank, from int) int {
	if rank < 0 {
		return -1
	}
	least := int32(max(from, 0) + 1)
	node := t.size + rank
	if t.max[node] >= least {
		return int(t.max[node] - 1)
	}
	for ; node > 1; node >>= 1 {
		if node&1 == 0 || t.max[node-1] < least {
			continue
		}
		for node--; node < t.size; {
			node = 2*node + 1
			if t.max[node] < least {
				node--
			}
		}
		return int(t.max[node] - 1)
	}
	return -1
}
