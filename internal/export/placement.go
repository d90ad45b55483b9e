package export

// sideBySide places intervals of the given widths on a line so that each is as
// near to its wanted middle as may be, none overlaps another by less than a
// gap, all lie between lo and hi, and their order stays. It returns their left
// ends; false when they cannot fit. Wanted middles must not decrease.
//
// It is the pool-adjacent-violators method: neighbours that push each other
// form a block, which stands at the mean of what its members want.
func sideBySide(middles, widths []float64, gap, lo, hi float64) (lefts []float64, fits bool) {
	type block struct {
		want  float64 // mean wanted left end of the block
		width float64
		count int
	}
	total := -gap
	for _, w := range widths {
		total += w + gap
	}
	if total > hi-lo {
		return nil, false
	}
	var blocks []block
	place := func(b block) float64 { return min(max(b.want, lo), hi-b.width) }
	for i, w := range widths {
		blocks = append(blocks, block{middles[i] - w/2, w, 1})
		for n := len(blocks); n > 1; n-- {
			a, b := blocks[n-2], blocks[n-1]
			if place(a)+a.width+gap <= place(b) {
				break
			}
			// b wants to start where a ends.
			shifted := b.want - a.width - gap
			blocks = append(blocks[:n-2], block{
				(a.want*float64(a.count) + shifted*float64(b.count)) / float64(a.count+b.count),
				a.width + gap + b.width, a.count + b.count,
			})
		}
	}
	i := 0
	for _, b := range blocks {
		x := place(b)
		for range b.count {
			lefts = append(lefts, x)
			x += widths[i] + gap
			i++
		}
	}
	return lefts, true
}

// box is a rectangle on the drawing.
type box struct{ x, y, w, h float64 }

// overlap is the area that two boxes share.
func (b box) overlap(o box) float64 {
	w := min(b.x+b.w, o.x+o.w) - max(b.x, o.x)
	h := min(b.y+b.h, o.y+o.h) - max(b.y, o.y)
	if w <= 0 || h <= 0 {
		return 0
	}
	return w * h
}

// holds says whether a point lies in the box.
func (b box) holds(p point2) bool {
	return p.x >= b.x && p.x <= b.x+b.w && p.y >= b.y && p.y <= b.y+b.h
}
