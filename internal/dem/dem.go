// Package dem turns elevation rasters into an immutable surface in memory.
//
// Open looks at the files and says what they are; Load reads one window at
// the raster's own resolution, turns everything that is no height into a
// void, and closes the subject of file formats: a Surface is pure Go, needs
// no lock and knows how far its heights can be trusted. This package is the
// only one that calls GDAL.
package dem

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"

	"github.com/airbusgeo/godal"

	"route/internal/finding"
)

// The reasons why a surface has no height at a point; see Surface.Why.
var (
	ErrOutside = errors.New("outside the elevation raster")
	ErrNoData  = errors.New("the elevation raster has no height here")
)

// Options say how to read rasters. The zero value reads the first band, takes
// CRS and units from the files, and allows 2 GiB of memory.
type Options struct {
	// Band to read, counted from 1; 0 is the first band.
	Band int
	// CRS of the rasters, "EPSG:26910" or anything else that GDAL understands.
	// It wins over what a file says; a finding tells where they differ.
	CRS string
	// ZUnit of the heights: "m", "ft" (0.3048 m), "us-ft" (1200/3937 m), or ""
	// for what the file says. It wins over the file; a finding tells.
	ZUnit string
	// Error replaces the accuracy class that is guessed from the raster.
	Error *ErrorModel
	// MaxBytes of memory that a window may take; 0 means 2 GiB.
	MaxBytes int64
	// Record, when set, is told how many of how many raster rows are read.
	Record func(done, total int)
}

const defaultMaxBytes = 2 << 30

// Source is a set of open rasters that together are one surface; where they
// overlap, the first listed wins. It is safe for concurrent use: calls wait
// for each other, since GDAL's datasets allow one reader at a time.
type Source struct {
	mu       sync.Mutex
	files    []*file
	options  Options
	findings []finding.Finding
	ways     projectors // between the files' systems and degrees
	closed   bool
}

var registerOnce sync.Once

// register makes every raster and vector format of this GDAL known. Files are
// opened as rasters only or vectors only, so a table is never mistaken for a
// raster.
//
// A few calls of GDAL report on standard error past every handler, such as
// the conversion of a point that has no image; what they say reaches the
// caller by other ways, so that channel is closed unless the person set it.
func register() {
	registerOnce.Do(func() {
		if os.Getenv("CPL_LOG") == "" {
			os.Setenv("CPL_LOG", os.DevNull)
		}
		godal.RegisterAll()
	})
}

// Versions is the version of the GDAL library that this program runs on; see
// ProjVersion for the other one.
func Versions() (gdal string) {
	v := godal.Version()
	return fmt.Sprintf("%d.%d.%d", v.Major(), v.Minor(), v.Revision())
}

// Open opens rasters: any file, VRT or web address that GDAL reads.
//
// What cannot be opened is a *finding.Fault, one for each file, joined. When
// every file opens but one cannot be used as it stands (no CRS, unknown height
// unit, rotated grid), Open returns the fault and also the Source, so that its
// Infos can be shown; such a Source answers nothing else, and is to be closed.
func Open(paths []string, o Options) (*Source, error) {
	register()
	if len(paths) == 0 {
		return nil, &finding.Fault{Code: "no_terrain", Text: "no elevation raster is given",
			Hint: "name at least one file: --terrain FILE, or terrain: [FILE] in the site file"}
	}
	if _, ok := unitByOption(o.ZUnit); o.ZUnit != "" && !ok {
		return nil, &finding.Fault{Code: "bad_z_unit", Text: fmt.Sprintf("%q is no unit of height", o.ZUnit),
			Hint: "say m, ft (international) or us-ft (US survey)"}
	}
	if o.MaxBytes == 0 {
		o.MaxBytes = defaultMaxBytes
	}
	s := &Source{options: o, ways: projectors{}}
	var fatal, blocking []error
	for _, path := range paths {
		f, findings, err := openFile(path, o, s.ways)
		if err != nil {
			fatal = append(fatal, err)
			continue
		}
		s.files = append(s.files, f)
		s.findings = append(s.findings, findings...)
		for _, problem := range f.problems {
			blocking = append(blocking, problem)
		}
	}
	if len(fatal) > 0 {
		s.Close()
		return nil, join(append(fatal, blocking...))
	}
	s.findings = append(s.findings, mixedDatums(s.files)...)
	return s, join(blocking)
}

// join is errors.Join that leaves a single error as it is.
func join(errs []error) error {
	switch len(errs) {
	case 0:
		return nil
	case 1:
		return errs[0]
	}
	return errors.Join(errs...)
}

// Findings are the things to know about the files themselves. What a window
// shows is in Surface.Findings.
func (s *Source) Findings() []finding.Finding {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]finding.Finding(nil), s.findings...)
}

// Close lets go of the files. Surfaces stay usable. A read that is still
// waiting for the network keeps its file until the process ends.
func (s *Source) Close() error {
	if !s.mu.TryLock() {
		return nil
	}
	defer s.mu.Unlock()
	if s.closed {
		return nil
	}
	s.closed = true
	var errs []error
	for _, f := range s.files {
		if err := f.close(); err != nil {
			errs = append(errs, &finding.Fault{Code: "raster_close", File: f.path, Text: err.Error(), Err: err})
		}
	}
	s.ways.close()
	return join(errs)
}

// usable is nil when heights can be read from every file.
func (s *Source) usable() error {
	if s.closed {
		return errors.New("dem: source is closed")
	}
	var errs []error
	for _, f := range s.files {
		for _, problem := range f.problems {
			errs = append(errs, problem)
		}
	}
	return join(errs)
}

// mixedDatums tells when the files count their heights from different zeros.
func mixedDatums(files []*file) []finding.Finding {
	var out []finding.Finding
	for _, f := range files[1:] {
		first := files[0].info.VerticalDatum
		if first != f.info.VerticalDatum {
			out = append(out, finding.New(finding.Warning, "vertical_datum_mixed",
				fmt.Sprintf("heights of %s are %s, those of %s are %s", filepath.Base(files[0].path),
					datumWords(first), filepath.Base(f.path), datumWords(f.info.VerticalDatum)),
				"keep the creek and the pipes inside one of the files, or bring both to one vertical datum first").In(f.path))
		}
	}
	return out
}

func datumWords(datum string) string {
	if datum == "" {
		return "on a datum that is not stated"
	}
	return "on " + datum
}

// connection matches names that are no files but that GDAL opens, such as
// NETCDF:"dem.nc":z or GPKG:tiles.gpkg:dem. A drive letter is one character.
var connection = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_]+:.`)

// gdalName turns what a person writes into the name that GDAL opens.
func gdalName(path string) (name string, remote bool, fault *finding.Fault) {
	lower := strings.ToLower(path)
	switch {
	case strings.HasPrefix(lower, "http://"), strings.HasPrefix(lower, "https://"):
		return "/vsicurl/" + path, true, nil
	case strings.HasPrefix(lower, "/vsi"):
		network := regexp.MustCompile(`/vsi(curl|s3|gs|az|adls|oss|swift|webhdfs)`)
		return path, network.MatchString(lower), nil
	}
	_, err := os.Stat(path)
	switch {
	case err == nil:
		return path, false, nil
	case connection.MatchString(path):
		return path, false, nil
	case errors.Is(err, os.ErrNotExist):
		return "", false, &finding.Fault{Code: "file_not_found", File: path, Text: "there is no such file",
			Hint: "check the path; paths in a site file are relative to it", Err: err}
	}
	return "", false, &finding.Fault{Code: "file_unreadable", File: path, Text: "the file cannot be read: " + plainCause(err),
		Hint: "check the permissions", Err: err}
}

// plainCause strips the path that a *PathError repeats.
func plainCause(err error) string {
	var pathErr *os.PathError
	if errors.As(err, &pathErr) {
		return pathErr.Err.Error()
	}
	return err.Error()
}

// finite tells that none of the values is NaN or infinite.
func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
