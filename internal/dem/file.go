package dem

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"

	"github.com/airbusgeo/godal"

	"route/internal/finding"
)

// Info says what one raster is. Everything but NoDataShare and the heights is
// known after Open; those describe the window after Load.
type Info struct {
	Path       string
	Driver     string // format, "GTiff"
	Type       string // of a cell as stored, "Float32"
	Cols, Rows int
	CRS        string // name and code, "NAD83 / UTM zone 10N (EPSG:26910)"
	PlanUnit   string // of the CRS, "metre", "US survey foot", "degree"
	PlanDatum  string

	CellM                 float64 // geometric mean of the two below; NaN when the raster has no place
	CellEastM, CellNorthM float64 // along rows and columns, at the window's middle
	Cell                  string  // for people: "0.333 arc-seconds = 7.95 x 10.28 m here"
	West, South           float64 // extent, degrees of WGS 84; East may exceed 180
	East, North           float64
	VerticalUnit          string // "metre", "foot", "US survey foot"; "" when unknown
	VerticalUnitHow       string // who says so
	VerticalDatum         string // "" when not stated
	NoDataShare           float64
	LowestM, HighestM     float64 // NaN before Load
	SHA256                string  // of the file; "" when SHA256Note says why not
	SHA256Note            string
	AccuracyClass         string
	AccuracyWhy           string
	SurfaceModel          bool // trees and roofs are in the heights
	ScreeningOnly         bool // too coarse to buy pipe by
}

// file is one open raster.
type file struct {
	path   string // as the person wrote it
	remote bool
	copied string // a temporary copy, removed at the end; "" when the file is read where it lies

	ds     *godal.Dataset
	band   godal.Band
	crs    crs
	affine affine
	cols   int
	rows   int
	blockH int
	wide   bool // needs float64
	kind   godal.DataType

	scaleM, offsetM float64 // metres = raw*scaleM + offsetM
	unitM           float64
	hasNoData       bool
	noData          float64
	masked          bool
	maskBand        godal.Band

	model    ErrorModel
	info     Info
	opened   Info // before any window was read
	hashed   bool
	problems []*finding.Fault

	// Of the Source, which closes them.
	fromWGS *projector // degrees of WGS 84 to the raster's plan coordinates
	toWGS   *projector // and back
}

// affine takes cell corners (column, row) to plan coordinates; rows of cells
// run along x.
type affine struct{ x0, dx, y0, dy float64 }

// cell is the position in cells, 0 at the outer corner of the first.
func (a affine) cell(x, y float64) (col, row float64) {
	return (x - a.x0) / a.dx, (y - a.y0) / a.dy
}

func (a affine) plan(col, row float64) (x, y float64) {
	return a.x0 + col*a.dx, a.y0 + row*a.dy
}

// openFile opens a raster and reads its header. A fault means that it cannot
// be opened; f.problems hold what stops its use.
func openFile(path string, o Options, ways projectors) (*file, []finding.Finding, error) {
	name, remote, fault := gdalName(path)
	if fault != nil {
		return nil, nil, fault
	}
	var log gdalLog
	options := []godal.OpenOption{godal.RasterOnly(), godal.SiblingFiles(), godal.ErrLogger(log.handle)}
	if remote {
		options = append(options, godal.ConfigOption(networkConfig...))
	}
	ds, err := godal.Open(name, options...)
	var copied string
	if err != nil && remote && refusesRanges(err) {
		if copied, err = download(path, o.MaxBytes); err != nil {
			return nil, nil, err
		}
		remote = false
		if ds, err = godal.Open(copied, options...); err != nil {
			os.Remove(copied)
		}
	}
	if err != nil {
		return nil, nil, openFault(path, remote, err)
	}
	f := &file{path: path, remote: remote, copied: copied, ds: ds}
	if err := f.pickBand(o.Band); err != nil {
		f.close()
		return nil, nil, err
	}
	findings, err := f.readHeader(o, ways)
	if err != nil {
		f.close()
		return nil, nil, err
	}
	return f, findings, nil
}

// openFault puts GDAL's reason for not opening a raster into a fault.
func openFault(path string, remote bool, err error) *finding.Fault {
	text := err.Error()
	f := &finding.Fault{Code: "not_a_raster", File: path, Err: err,
		Text: "no format reads this as a raster",
		Hint: "give an elevation raster, such as GeoTIFF, VRT, ASCII grid or .hgt; a .zip is to be unpacked first"}
	switch {
	case remote:
		f.Code, f.Text = "remote_unreadable", "the address cannot be read as a raster: "+firstLine(text)
		f.Hint = "open the address in a browser to see what it is; or download the file and name it here"
	case strings.Contains(text, "codec"), strings.Contains(text, "ompression"):
		f.Code, f.Text = "compression_unsupported", "the file's compression is not supported: "+firstLine(text)
		f.Hint = "write the file again with DEFLATE, LZW or ZSTD compression (gdal_translate -co COMPRESS=DEFLATE)"
	case strings.Contains(text, "not recognized as a supported file format"), strings.Contains(text, "not recognized as being in a supported file format"):
	case strings.Contains(text, "unknown"), text == "":
	default:
		f.Code, f.Text = "raster_unreadable", "the raster cannot be opened: "+firstLine(text)
		f.Hint = "the file may be cut short or damaged: copy or download it again"
		if info, statErr := os.Stat(path); statErr == nil {
			f.Text += fmt.Sprintf(" (%d bytes)", info.Size())
		}
	}
	return f
}

func firstLine(text string) string {
	line, _, _ := strings.Cut(strings.TrimSpace(text), "\n")
	return line
}

// pickBand takes the band of heights, counted from 1.
func (f *file) pickBand(number int) error {
	bands := f.ds.Bands()
	if len(bands) == 0 {
		return &finding.Fault{Code: "no_band", File: f.path, Text: "the file holds no raster band" + f.subdatasets(),
			Hint: "name one of its rasters"}
	}
	if number == 0 {
		number = 1
	}
	if number < 1 || number > len(bands) {
		return &finding.Fault{Code: "no_band", File: f.path, Text: fmt.Sprintf("there is no band %d; the raster has %d", number, len(bands)),
			Hint: "choose the band of heights"}
	}
	f.band = bands[number-1]
	switch f.band.ColorInterp() {
	case godal.CIRed, godal.CIGreen, godal.CIBlue, godal.CIPalette:
		return &finding.Fault{Code: "not_elevation", File: f.path, Text: "this is a picture: its band holds colours, not heights",
			Hint: "give the elevation raster itself, not a hillshade or a map"}
	}
	return nil
}

// subdatasets names the rasters inside a container, for a message.
func (f *file) subdatasets() string {
	var names []string
	for key, value := range f.ds.Metadatas(godal.Domain("SUBDATASETS")) {
		if strings.HasSuffix(key, "_NAME") {
			names = append(names, value)
		}
	}
	if len(names) == 0 {
		return ""
	}
	return "; it contains " + strings.Join(names, ", ")
}

// readHeader fills in everything that is known without reading heights.
func (f *file) readHeader(o Options, ways projectors) ([]finding.Finding, error) {
	d, err := describe(f.ds)
	if err != nil {
		return nil, &finding.Fault{Code: "raster_unreadable", File: f.path, Text: "the raster's header cannot be read: " + firstLine(err.Error()),
			Hint: "the file may be cut short or damaged: copy or download it again", Err: err}
	}
	structure := f.band.Structure()
	f.cols, f.rows, f.blockH, f.kind = structure.SizeX, structure.SizeY, structure.BlockSizeY, structure.DataType
	driver := f.ds.Driver()
	f.info = Info{Path: f.path, Driver: driver.ShortName(), Type: f.kind.String(), Cols: f.cols, Rows: f.rows,
		NoDataShare: math.NaN(), LowestM: math.NaN(), HighestM: math.NaN(), CellM: math.NaN(), CellEastM: math.NaN(), CellNorthM: math.NaN()}
	if err := f.readType(); err != nil {
		return nil, err
	}
	var findings []finding.Finding
	add := func(more ...finding.Finding) {
		for _, m := range more {
			findings = append(findings, m.In(f.path))
		}
	}
	add(f.readCRS(d, o.CRS)...)
	f.readAffine(d)
	add(f.readUnits(d, structure, o.ZUnit)...)
	f.readVoids()
	if n := f.ds.Structure().NBands; n > 1 && o.Band == 0 {
		add(finding.New(finding.Note, "first_band", fmt.Sprintf("the raster has %d bands; the first is taken as heights", n), "say which band if that is wrong"))
	}
	if len(f.problems) == 0 {
		add(f.place(ways)...)
		add(f.resampledFinding()...)
	}
	f.classify(d, o.Error)
	if o.Error == nil {
		add(f.classFindings()...)
	}
	f.opened = f.info
	return findings, nil
}

// readType decides how a window is kept: float32 holds every value of the
// smaller types exactly.
func (f *file) readType() error {
	switch f.kind {
	case godal.Byte, godal.Int16, godal.UInt16, godal.Float32:
		f.wide = false
	case godal.CInt16, godal.CInt32, godal.CFloat32, godal.CFloat64:
		return &finding.Fault{Code: "not_elevation", File: f.path, Text: "the raster holds complex numbers, not heights",
			Hint: "give an elevation raster"}
	default:
		f.wide = true
	}
	return nil
}

// readCRS finds where the raster lies. The person's word wins.
func (f *file) readCRS(d description, asked string) []finding.Finding {
	wkt := strings.TrimSpace(d.SRS)
	own, kind := readCRS(wkt)
	if asked != "" {
		c, err := userCRS(asked)
		if err != nil {
			f.problem("bad_crs", fmt.Sprintf("%q is no coordinate reference system: %s", asked, firstLine(err.Error())),
				"write it as EPSG:n, for example EPSG:26910", err)
			return nil
		}
		if c.vertical == "" { // keep what the file says about heights
			c.vertical, c.verticalZero, c.verticalUnit, c.perVertical = own.vertical, own.verticalZero, own.verticalUnit, own.perVertical
		}
		f.setCRS(c)
		if wkt != "" && kind == crsEarth && own.wkt != c.wkt {
			return []finding.Finding{finding.New(finding.Warning, "crs_overridden",
				fmt.Sprintf("the raster is taken as %s as asked, though it says %s", c, own),
				"drop --crs (crs: in the site file) to go by the file")}
		}
		return nil
	}
	switch {
	case wkt == "":
		f.problem("no_crs", "the raster does not say which coordinate reference system it is in"+f.looksLikeDegrees(),
			"say it with --crs EPSG:n, or crs: in the site file", nil)
	case kind == crsEngineering:
		f.problem("engineering_crs", fmt.Sprintf("the raster's coordinate reference system, %q, is a local one with no place on the Earth", own.name),
			"say the true one with --crs EPSG:n, or crs: in the site file", nil)
	case kind != crsEarth:
		f.problem("crs_unsupported", fmt.Sprintf("the raster's coordinate reference system, %q, is neither geographic nor projected", own.name),
			"say the true one with --crs EPSG:n, or reproject the raster (gdalwarp -t_srs)", nil)
	default:
		f.setCRS(own)
	}
	return nil
}

func (f *file) setCRS(c crs) {
	f.crs = c
	f.info.CRS, f.info.PlanUnit, f.info.PlanDatum = c.String(), c.unit, c.datum
}

// looksLikeDegrees helps a person who must name the CRS.
func (f *file) looksLikeDegrees() string {
	gt, err := f.ds.GeoTransform(godal.ErrLogger((&gdalLog{}).handle))
	if err != nil || gt[1] > 0.1 {
		return ""
	}
	lon, lat := gt[0]+gt[1]*float64(f.cols)/2, gt[3]+gt[5]*float64(f.rows)/2
	if math.Abs(lon) <= 360 && math.Abs(lat) <= 90 {
		return "; its coordinates look like degrees (EPSG:4326 or the country's own)"
	}
	return ""
}

// problem notes a fault that stops the use of this raster.
func (f *file) problem(code, text, hint string, err error) {
	f.problems = append(f.problems, &finding.Fault{Code: code, File: f.path, Text: text, Hint: hint, Err: err})
}

// readAffine reads where cells lie. A rotated grid is refused.
func (f *file) readAffine(d description) {
	if d.GeoTransform == "" {
		text := "the raster has no georeference: nothing says where its cells lie"
		if len(d.GCPs) > 0 {
			text = "the raster is placed by ground control points only"
		}
		f.problem("no_georeference", text, "georeference it first (gdalwarp -t_srs EPSG:n), or put its world file beside it", nil)
		return
	}
	gt, err := f.ds.GeoTransform(godal.ErrLogger((&gdalLog{}).handle))
	if err != nil || gt[1] == 0 && gt[2] == 0 || !finite(gt[:]...) {
		f.problem("no_georeference", "the raster's georeference cannot be read",
			"georeference it first (gdalwarp -t_srs EPSG:n)", err)
		return
	}
	// One ten-thousandth of a cell over the whole raster is no rotation.
	slack := 1e-4 / float64(max(f.cols, f.rows))
	if math.Abs(gt[2]) > slack*math.Abs(gt[1]) || math.Abs(gt[4]) > slack*math.Abs(gt[5]) {
		angle := math.Atan2(gt[4], gt[1]) * 180 / math.Pi
		f.problem("rotated_raster", fmt.Sprintf("the raster's grid is rotated or sheared (by %.1f degrees); only grids along the axes are read", angle),
			"turn it upright first: gdalwarp -r cubic -t_srs EPSG:n in.tif out.tif", nil)
		return
	}
	f.affine = affine{x0: gt[0], dx: gt[1], y0: gt[3], dy: gt[5]}
}

// readUnits settles what a stored number means in metres.
func (f *file) readUnits(d description, structure godal.BandStructure, asked string) []finding.Finding {
	facts := verticalFacts{crs: f.crs, driver: f.info.Driver}
	for i, b := range f.ds.Bands() {
		if b == f.band && i < len(d.Bands) {
			facts.bandUnit = d.Bands[i].UnitType
		}
	}
	unit, how, findings, fault := settleUnit(facts, asked)
	if fault != nil {
		fault.File = f.path
		f.problems = append(f.problems, fault)
	}
	f.info.VerticalUnit, f.info.VerticalUnitHow, f.info.VerticalDatum = unit.name, how, facts.zero()
	scale := structure.Scale
	if scale == 0 || !finite(scale) {
		scale = 1
	}
	offset := structure.Offset
	if !finite(offset) {
		offset = 0
	}
	f.unitM, f.scaleM, f.offsetM = unit.metres, scale*unit.metres, offset*unit.metres
	return findings
}

// GDAL's flags for a band's mask (RFC 15).
const (
	maskAllValid = 0x01
	maskNoData   = 0x08
)

// readVoids learns how the raster marks cells without a height.
func (f *file) readVoids() {
	f.noData, f.hasNoData = f.band.NoData()
	if flags := f.band.MaskFlags(); flags&(maskAllValid|maskNoData) == 0 {
		f.masked, f.maskBand = true, f.band.MaskBand()
	}
}

func (f *file) close() error {
	if f.ds == nil {
		return nil
	}
	err := f.ds.Close(godal.ErrLogger((&gdalLog{}).handle))
	f.ds = nil
	if f.copied != "" {
		err = errors.Join(err, os.Remove(f.copied))
	}
	return err
}

// hashLimit is the largest file that is hashed in full: reading more would
// take longer than the whole job.
const hashLimit = 1 << 30

// hash fills in the checksum of the file, once.
func (f *file) hash() {
	if f.hashed {
		return
	}
	f.hashed = true
	name := f.path
	if f.copied != "" {
		name = f.copied
	}
	stat, err := os.Stat(name)
	switch {
	case f.remote:
		f.info.SHA256Note = "read over the network, in part"
		return
	case err != nil || !stat.Mode().IsRegular():
		f.info.SHA256Note = "not a plain file"
		return
	case stat.Size() > hashLimit:
		f.info.SHA256Note = fmt.Sprintf("%.1f GiB is too much to hash", float64(stat.Size())/(1<<30))
		return
	}
	if strings.EqualFold(filepath.Ext(f.path), ".vrt") {
		f.info.SHA256Note = "of the VRT alone, not of the rasters it names"
	}
	in, err := os.Open(name)
	if err != nil {
		f.info.SHA256Note = plainCause(err)
		return
	}
	defer in.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, in); err != nil {
		f.info.SHA256Note = plainCause(err)
		return
	}
	f.info.SHA256 = hex.EncodeToString(sum.Sum(nil))
}

// Forget drops what the windows read so far have shown, so that the next one is
// read, and described, as if it were the first.
func (s *Source) Forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, f := range s.files {
		opened := f.opened
		opened.SHA256, opened.SHA256Note = f.info.SHA256, f.info.SHA256Note
		f.info = opened
	}
}

// Infos says what each raster is, in the order given. The first call hashes
// the files.
func (s *Source) Infos() []Info {
	s.mu.Lock()
	defer s.mu.Unlock()
	infos := make([]Info, len(s.files))
	for i, f := range s.files {
		f.hash()
		infos[i] = f.info
	}
	return infos
}
