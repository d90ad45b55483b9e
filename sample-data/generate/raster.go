package main

import (
	"fmt"
	"math"
	"os"
	"runtime"
	"sync"

	"github.com/airbusgeo/godal"
	"github.com/paulmach/orb"

	"route/internal/geodesy"
	"route/sample-data/valley"
)

// scan says how the ground of a place is delivered as a raster.
type scan struct {
	crs          string
	projected    bool // cells in metres; otherwise in degrees
	cols, rows   int
	cellX, cellY float64 // in the units of the CRS
	unit         string  // of the heights, as declared in the file
	perMetre     float64 // of that unit
	noData       float64
	seed         uint64 // of the error
}

var registerOnce sync.Once

// write scans the place into a tiled GeoTIFF.
func (s scan) write(name string, place *valley.Place) error {
	registerOnce.Do(func() { godal.RegisterInternalDrivers() })
	ref, err := godal.NewSpatialRef(s.crs)
	if err != nil {
		return fmt.Errorf("coordinate system %s: %w", s.crs, err)
	}
	defer ref.Close()
	transform, err := s.geoTransform(place.Origin, ref)
	if err != nil {
		return err
	}
	cells, err := s.newMapping(place, ref, transform)
	if err != nil {
		return err
	}
	heights := s.heights(place, cells)
	wkt, err := ref.WKT()
	if err != nil {
		return err
	}
	return s.encode(name, wkt, transform, heights)
}

// geoTransform puts the middle of the raster near the origin, its corner on a
// whole cell.
func (s scan) geoTransform(origin geodesy.LonLat, ref *godal.SpatialRef) ([6]float64, error) {
	x, y := []float64{origin.Lon}, []float64{origin.Lat}
	if s.projected {
		if err := reproject(ref, true, x, y); err != nil {
			return [6]float64{}, err
		}
	}
	west := math.Round(x[0]/s.cellX-float64(s.cols)/2) * s.cellX
	north := math.Round(y[0]/s.cellY+float64(s.rows)/2) * s.cellY
	return [6]float64{west, s.cellX, 0, north, 0, -s.cellY}, nil
}

// reproject turns degrees of WGS 84 into the CRS or back, in place.
func reproject(ref *godal.SpatialRef, forward bool, x, y []float64) error {
	degrees, err := godal.NewSpatialRefFromEPSG(4326)
	if err != nil {
		return err
	}
	defer degrees.Close()
	from, to := degrees, ref
	if !forward {
		from, to = ref, degrees
	}
	way, err := godal.NewTransform(from, to)
	if err != nil {
		return err
	}
	defer way.Close()
	return way.TransformEx(x, y, make([]float64, len(x)), nil)
}

// mapping gives the place of each cell's centre in the frame of the model. It
// is computed at the corners of blocks and is bilinear between them, which is
// right to 0.1 mm.
type mapping struct {
	across int
	nodes  []orb.Point
}

// blockCells is the side of a block.
const blockCells = 50

func (s scan) newMapping(place *valley.Place, ref *godal.SpatialRef, g [6]float64) (*mapping, error) {
	m := &mapping{across: s.cols/blockCells + 2}
	down := s.rows/blockCells + 2
	x, y := make([]float64, 0, m.across*down), make([]float64, 0, m.across*down)
	for j := range down {
		for i := range m.across {
			x = append(x, g[0]+g[1]*(float64(i*blockCells)+0.5))
			y = append(y, g[3]+g[5]*(float64(j*blockCells)+0.5))
		}
	}
	if s.projected {
		if err := reproject(ref, false, x, y); err != nil {
			return nil, err
		}
	}
	for i := range x {
		m.nodes = append(m.nodes, place.Frame().ToFrame(geodesy.LonLat{Lon: x[i], Lat: y[i]}))
	}
	return m, nil
}

// centre is the centre of a cell.
func (m *mapping) centre(col, row int) orb.Point {
	i, j := col/blockCells, row/blockCells
	u, v := float64(col%blockCells)/blockCells, float64(row%blockCells)/blockCells
	a, b := m.nodes[j*m.across+i], m.nodes[j*m.across+i+1]
	c, d := m.nodes[(j+1)*m.across+i], m.nodes[(j+1)*m.across+i+1]
	var p orb.Point
	for k := range p {
		top, bottom := a[k]+u*(b[k]-a[k]), c[k]+u*(d[k]-c[k])
		p[k] = top + v*(bottom-top)
	}
	return p
}

// heights scans every cell: the ground, the error of the scan, level water in
// the pool, and nothing in the voids. Rounded to a thousandth of the unit.
func (s scan) heights(place *valley.Place, cells *mapping) []float32 {
	east, north := cells.centre(1, 0), cells.centre(0, 1)
	corner := cells.centre(0, 0)
	dx := math.Hypot(east[0]-corner[0], east[1]-corner[1])
	dy := math.Hypot(north[0]-corner[0], north[1]-corner[1])
	noise := place.Error.Draw(s.seed, s.cols, s.rows, dx, dy)
	heights := make([]float32, s.cols*s.rows)
	pool := s.poolError(place, cells, noise)
	s.eachRow(func(row int) {
		for col := range s.cols {
			at := cells.centre(col, row)
			i := row*s.cols + col
			z := place.Ground(at) + noise[i]
			if water, ok := place.InPool(at); ok {
				z = water + pool
			}
			heights[i] = float32(math.Round(z*s.perMetre*1000) / 1000)
			if inVoid(place.Voids, at) {
				heights[i] = float32(s.noData)
			}
		}
	})
	return heights
}

// poolError is the one error of the whole pool: the people who prepare a scan
// lay open water level at the mean of what they saw.
func (s scan) poolError(place *valley.Place, cells *mapping, noise []float64) float64 {
	sum, n := 0.0, 0
	for row := range s.rows {
		for col := range s.cols {
			if _, ok := place.InPool(cells.centre(col, row)); ok {
				sum += noise[row*s.cols+col]
				n++
			}
		}
	}
	return sum / float64(max(n, 1))
}

// eachRow calls f for every row, on all processors.
func (s scan) eachRow(f func(row int)) {
	var wait sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		wait.Add(1)
		go func() {
			defer wait.Done()
			for row := w; row < s.rows; row += workers {
				f(row)
			}
		}()
	}
	wait.Wait()
}

func inVoid(voids []valley.Void, at orb.Point) bool {
	for _, v := range voids {
		if math.Hypot(at[0]-v.Centre[0], at[1]-v.Centre[1]) < v.RadiusM {
			return true
		}
	}
	return false
}

// encode writes the GeoTIFF. The unit of a band can be set only by way of a
// virtual raster, so the heights pass through one in memory.
func (s scan) encode(name, wkt string, transform [6]float64, heights []float32) error {
	plain := "/vsimem/sample-heights.tif"
	if err := s.encodePlain(plain, wkt, transform, heights); err != nil {
		return err
	}
	defer func() { _ = godal.VSIUnlink(plain) }()
	virtual, err := godal.Open(s.virtual(plain, wkt, transform), godal.RasterOnly())
	if err != nil {
		return err
	}
	defer virtual.Close()
	partial := name + ".partial"
	file, err := virtual.Translate(partial, []string{"-of", "GTiff"}, godal.CreationOption(
		"TILED=YES", "BLOCKXSIZE=256", "BLOCKYSIZE=256", "COMPRESS=DEFLATE", "PREDICTOR=3"))
	if err != nil {
		return err
	}
	if err := file.Close(); err != nil {
		return err
	}
	return os.Rename(partial, name)
}

func (s scan) encodePlain(name, wkt string, transform [6]float64, heights []float32) error {
	ds, err := godal.Create(godal.GTiff, name, 1, godal.Float32, s.cols, s.rows)
	if err != nil {
		return err
	}
	for _, step := range []func() error{
		func() error { return ds.SetProjection(wkt) },
		func() error { return ds.SetGeoTransform(transform) },
		func() error { return ds.Bands()[0].Write(0, 0, heights, s.cols, s.rows) },
	} {
		if err := step(); err != nil {
			_ = ds.Close()
			return err
		}
	}
	return ds.Close()
}

// virtual describes the raster with its unit and the value of a missing height.
func (s scan) virtual(source, wkt string, g [6]float64) string {
	return fmt.Sprintf(`<VRTDataset rasterXSize="%d" rasterYSize="%d">
<SRS dataAxisToSRSAxisMapping="%s">%s</SRS>
<GeoTransform>%.17g,%.17g,%.17g,%.17g,%.17g,%.17g</GeoTransform>
<VRTRasterBand dataType="Float32" band="1"><NoDataValue>%g</NoDataValue><UnitType>%s</UnitType>
<SimpleSource><SourceFilename relativeToVRT="0">%s</SourceFilename><SourceBand>1</SourceBand></SimpleSource>
</VRTRasterBand></VRTDataset>`, s.cols, s.rows, s.axes(), escape(wkt), g[0], g[1], g[2], g[3], g[4], g[5], s.noData, s.unit, source)
}

// axes says that longitude comes first in the raster though EPSG puts latitude
// first.
func (s scan) axes() string {
	if s.projected {
		return "1,2,3"
	}
	return "2,1"
}
