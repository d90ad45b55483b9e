package main

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"slices"

	cdppage "github.com/chromedp/cdproto/page"
)

func preferPageSize(p *cdppage.PrintToPDFParams) {
	yes := true
	p.PreferCSSPageSize, p.PrintBackground = &yes, &yes
}

// fewColours encodes a picture in the 256 colours that cover it best by median
// cut (Heckbert 1982), without dithering, which would swell it.
func fewColours(picture image.Image) ([]byte, error) {
	counts := map[[3]uint8]int{}
	bounds := picture.Bounds()
	at := func(x, y int) [3]uint8 {
		r, g, b, _ := picture.At(x, y).RGBA()
		return [3]uint8{uint8(r >> 8), uint8(g >> 8), uint8(b >> 8)}
	}
	for y := bounds.Min.Y; y < bounds.Max.Y; y++ {
		for x := bounds.Min.X; x < bounds.Max.X; x++ {
			counts[at(x, y)]++
		}
	}
	all := make([][3]uint8, 0, len(counts))
	for c := range counts {
		all = append(all, c)
	}
	slices.SortFunc(all, func(a, b [3]uint8) int { return slices.Compare(a[:], b[:]) })
	boxes := [][][3]uint8{all}
	for len(boxes) < 256 {
		k, axis := widest(boxes)
		if k < 0 {
			break
		}
		box := boxes[k]
		slices.SortStableFunc(box, func(a, b [3]uint8) int { return int(a[axis]) - int(b[axis]) })
		half := len(box) / 2
		boxes[k] = box[:half]
		boxes = append(boxes, box[half:])
	}
	index := map[[3]uint8]uint8{}
	palette := color.Palette{}
	for k, box := range boxes {
		var sum [3]int
		n := 0
		for _, c := range box {
			index[c] = uint8(k)
			for i := range sum {
				sum[i] += int(c[i]) * counts[c]
			}
			n += counts[c]
		}
		palette = append(palette, color.RGBA{uint8(sum[0] / n), uint8(sum[1] / n), uint8(sum[2] / n), 255})
	}
	out := image.NewPaletted(bounds, palette)
	for y := bounds.Min.Y; y < bounds.Max.Y; y++ {
		for x := bounds.Min.X; x < bounds.Max.X; x++ {
			out.SetColorIndex(x, y, index[at(x, y)])
		}
	}
	var text bytes.Buffer
	err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&text, out)
	return text.Bytes(), err
}

// widest gives the box with the greatest spread and along which colour; -1 when
// none can be cut.
func widest(boxes [][][3]uint8) (k, axis int) {
	k, most := -1, 0
	for i, box := range boxes {
		if len(box) < 2 {
			continue
		}
		for a := range 3 {
			low, high := box[0][a], box[0][a]
			for _, c := range box {
				low, high = min(low, c[a]), max(high, c[a])
			}
			if spread := int(high-low) * len(box); spread > most {
				k, axis, most = i, a, spread
			}
		}
	}
	return k, axis
}
