package dem

import (
	"encoding/binary"
	"errors"
	"math"
)

// shape is a simple geometry decoded from well-known binary: points, lines
// and polygons, with multis and collections taken apart.
type shape struct {
	kind  int // wkbPoint, wkbLine or wkbPolygon
	parts [][]vertex
}

type vertex struct{ x, y, z float64 } // z is NaN when there is none

// Codes of well-known binary (OGC 06-103r4, table 7).
const (
	wkbPoint = 1 + iota
	wkbLine
	wkbPolygon
	wkbMultiPoint
	wkbMultiLine
	wkbMultiPolygon
	wkbCollection
)

var (
	errWKB = errors.New("damaged geometry")
	// errCurve marks arcs and surfaces, which have to be made straight first.
	errCurve = errors.New("curved or solid geometry")
)

const wkbDepth = 20

// decodeWKB reads OGC, ISO and EWKB-flavoured well-known binary. godal hands
// out geometry in no other form that keeps the height, and orb's reader
// knows plane geometry only.
func decodeWKB(data []byte) ([]shape, error) {
	r := &wkbReader{data: data}
	var shapes []shape
	if err := r.geometry(&shapes, 0); err != nil {
		return nil, err
	}
	return shapes, nil
}

type wkbReader struct {
	data  []byte
	order binary.ByteOrder
}

func (r *wkbReader) uint32() (uint32, error) {
	if len(r.data) < 4 {
		return 0, errWKB
	}
	v := r.order.Uint32(r.data)
	r.data = r.data[4:]
	return v, nil
}

// header reads byte order and type, and tells which coordinates follow.
func (r *wkbReader) header() (kind int, dims int, hasZ bool, err error) {
	if len(r.data) < 5 {
		return 0, 0, false, errWKB
	}
	r.order = binary.LittleEndian
	if r.data[0] == 0 {
		r.order = binary.BigEndian
	}
	r.data = r.data[1:]
	code, err := r.uint32()
	if err != nil {
		return 0, 0, false, err
	}
	hasZ, hasM := code&0x80000000 != 0, code&0x40000000 != 0
	if code&0x20000000 != 0 { // EWKB: an SRID follows
		if _, err := r.uint32(); err != nil {
			return 0, 0, false, err
		}
	}
	code &= 0x0fffffff
	switch code / 1000 {
	case 1:
		hasZ = true
	case 2:
		hasM = true
	case 3:
		hasZ, hasM = true, true
	}
	dims = 2
	if hasZ {
		dims++
	}
	if hasM {
		dims++
	}
	return int(code % 1000), dims, hasZ, nil
}

func (r *wkbReader) geometry(out *[]shape, depth int) error {
	kind, dims, hasZ, err := r.header()
	if err != nil || depth > wkbDepth {
		return errors.Join(err, depthError(depth))
	}
	switch kind {
	case wkbPoint:
		list, err := r.vertices(1, dims, hasZ)
		if err != nil {
			return err
		}
		if !math.IsNaN(list[0].x) { // NaN is how an empty point is written
			*out = append(*out, shape{wkbPoint, [][]vertex{list}})
		}
		return nil
	case wkbLine:
		list, err := r.counted(dims, hasZ)
		if err != nil {
			return err
		}
		*out = append(*out, shape{wkbLine, [][]vertex{list}})
		return nil
	case wkbPolygon:
		return r.polygon(out, dims, hasZ)
	case wkbMultiPoint, wkbMultiLine, wkbMultiPolygon, wkbCollection:
		n, err := r.uint32()
		if err != nil || uint64(n)*5 > uint64(len(r.data)) {
			return errWKB
		}
		for ; n > 0; n-- {
			if err := r.geometry(out, depth+1); err != nil {
				return err
			}
		}
		return nil
	}
	return errCurve
}

func depthError(depth int) error {
	if depth > wkbDepth {
		return errWKB
	}
	return nil
}

func (r *wkbReader) polygon(out *[]shape, dims int, hasZ bool) error {
	n, err := r.uint32()
	if err != nil || uint64(n)*4 > uint64(len(r.data)) {
		return errWKB
	}
	s := shape{kind: wkbPolygon}
	for ; n > 0; n-- {
		ring, err := r.counted(dims, hasZ)
		if err != nil {
			return err
		}
		s.parts = append(s.parts, ring)
	}
	if len(s.parts) > 0 {
		*out = append(*out, s)
	}
	return nil
}

func (r *wkbReader) counted(dims int, hasZ bool) ([]vertex, error) {
	n, err := r.uint32()
	if err != nil {
		return nil, err
	}
	return r.vertices(int(n), dims, hasZ)
}

func (r *wkbReader) vertices(n, dims int, hasZ bool) ([]vertex, error) {
	size := 8 * dims
	if uint64(n)*uint64(size) > uint64(len(r.data)) {
		return nil, errWKB
	}
	list := make([]vertex, n)
	for i := range list {
		at := func(k int) float64 { return math.Float64frombits(r.order.Uint64(r.data[8*k:])) }
		list[i] = vertex{at(0), at(1), math.NaN()}
		if hasZ {
			list[i].z = at(2)
		}
		r.data = r.data[size:]
	}
	return list, nil
}
