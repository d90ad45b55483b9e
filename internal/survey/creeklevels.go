package survey

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"sort"
	"strings"

	"route/internal/finding"
	"route/internal/geodesy"
)

// CreekLevels is a creek as somebody levelled it: a line of points with
// heights, downstream.
type CreekLevels struct {
	File   string
	What   string // it was, for people: "levelling book", "list of drops", "table of heights"
	Points []CreekPoint
	// Taped says that the distances were measured along the creek; otherwise
	// they are straight from place to place.
	Taped bool
	// Places is how many points have coordinates.
	Places   int
	Findings []finding.Finding
}

// CreekPoint is a point of a levelled creek.
type CreekPoint struct {
	Name     string
	Line     int     // in the file
	StationM float64 // along the creek from the first point
	LevelM   float64 // height, above the first point where no benchmark is known
	// DropSigmaM is the standard deviation of the drop from the point before;
	// 0 for the first.
	DropSigmaM float64
	At         geodesy.LonLat
	HasAt      bool
}

// heightColumns are the columns of a table of heights that were reduced
// elsewhere.
var heightColumns = map[string][]string{
	"point": levelColumns["point"], "height": levelColumns["height"], "station": levelColumns["station"],
	"lat": levelColumns["lat"], "lon": levelColumns["lon"], "remarks": levelColumns["remarks"],
}

const creekHint = "a levelled creek is one of three tables: a levelling book (point, backsight, intermediate, foresight, distance or lat, lon), a list of drops (from, to, distance, drop), or heights (distance or lat, lon, height)"

// ReadCreekLevels reads a creek from a table in CSV: a levelling book (see
// ReadLevels) with the distance along the creek or the coordinates of its
// points, a list of drops (see ReadDrops), or heights that were reduced
// elsewhere. The points come out downstream, whichever way they were taken.
// sigma says how precise the instruments are.
func ReadCreekLevels(name string, r io.Reader, sigma Sigma) (*CreekLevels, error) {
	content, err := io.ReadAll(r)
	if err != nil {
		return nil, &finding.Fault{Code: "read_failed", File: name, Text: "the file could not be read", Hint: "check the file and the disk", Err: err}
	}
	c := &CreekLevels{File: name}
	switch titles := titlesOf(content); {
	case titles["drop"] || titles["from"] && titles["to"]:
		c.What = "list of drops"
		err = c.takeDrops(content, sigma)
	case titles["backsight"] || titles["bs"] || titles["foresight"] || titles["fs"]:
		c.What = "levelling book"
		err = c.takeBook(content, sigma)
	case titles["height"] || titles["rl"] || titles["level"] || titles["elevation"] || titles["reducedlevel"]:
		c.What = "table of heights"
		err = c.takeHeights(content, sigma)
	default:
		err = &finding.Fault{Code: "levels_column", File: name, Line: 1, Text: "its first line names no column of a levelled creek", Hint: creekHint}
	}
	if err != nil {
		return nil, err
	}
	return c, c.settle()
}

// titlesOf gives the words of the first line, without blanks and units.
func titlesOf(content []byte) map[string]bool {
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(content, []byte("\ufeff"))))
	r.Comment, r.FieldsPerRecord, r.LazyQuotes = '#', -1, true
	row, _ := r.Read()
	titles := map[string]bool{}
	any := levelReader{titles: map[string][]string{}}
	for _, columns := range []map[string][]string{levelColumns, dropColumns} {
		for _, names := range columns {
			for _, n := range names {
				any.titles[n] = []string{n}
			}
		}
	}
	for _, title := range row {
		word, _ := any.titleAndUnit(title)
		titles[word] = true
	}
	return titles
}

// takeDrops adjusts a list of drops.
func (c *CreekLevels) takeDrops(content []byte, sigma Sigma) error {
	list, err := ReadDrops(c.File, bytes.NewReader(content))
	if err != nil {
		return err
	}
	line, err := list.chained()
	if err != nil {
		return err
	}
	level, cov, err := line.adjusted(sigma)
	if err != nil {
		return err
	}
	c.Taped = true
	c.Findings = append(c.Findings, line.doubts(level, cov, sigma)...)
	along := 0.0
	for i, name := range line.names {
		p := CreekPoint{Name: name, LevelM: level[i]}
		if i > 0 {
			along += line.distance(i)
			v := cov.At(i-1, i-1)
			if i > 1 {
				v += cov.At(i-2, i-2) - 2*cov.At(i-2, i-1)
			}
			p.DropSigmaM = math.Sqrt(max(0, v))
		}
		p.StationM = along
		c.Points = append(c.Points, p)
	}
	for _, row := range list.Rows {
		for _, end := range []struct {
			name string
			at   geodesy.LonLat
			has  bool
		}{{row.From, row.FromAt, row.HasFromAt}, {row.To, row.ToAt, row.HasToAt}} {
			p := &c.Points[line.at[end.name]]
			if p.Line == 0 {
				p.Line = row.Line
			}
			if end.has && !p.HasAt {
				p.At, p.HasAt = end.at, true
			}
		}
	}
	return nil
}

// takeBook takes the points of a levelling book that are on the creek: those
// with a distance or, where none has one, with coordinates.
func (c *CreekLevels) takeBook(content []byte, sigma Sigma) error {
	book, err := ReadLevels(c.File, bytes.NewReader(content))
	if err != nil {
		return err
	}
	l := book.Reduce()
	c.Findings = append(c.Findings, l.Findings...)
	perSetUp := sigma("level", 1, 0)
	if !l.Good() { // the misclosure says more about this levelling than the instrument does
		perSetUp = max(perSetUp, math.Abs(l.MisclosureM)/math.Sqrt(float64(max(1, l.SetUps))))
	}
	c.keep(l.Points, func(from, to LevelPoint) float64 {
		return perSetUp * math.Sqrt(math.Abs(float64(to.SetUp-from.SetUp))+1)
	})
	return nil
}

// takeHeights takes heights that were reduced elsewhere, as if a level had
// been set up once for every sight's reach between them.
func (c *CreekLevels) takeHeights(content []byte, sigma Sigma) error {
	l, err := newLevelReader(c.File, bytes.NewReader(content), levelReader{what: "a table of heights", titles: heightColumns, needs: []string{"height"}, hint: creekHint})
	if err != nil {
		return err
	}
	var points []LevelPoint
	err = l.each(func() error {
		line, _ := l.csv.FieldPos(0)
		p := LevelPoint{LevelRow: LevelRow{Line: line}}
		p.Point, _ = l.text("point")
		if p.LevelM, err = l.bounded("height", -500, 9000); err != nil {
			return err
		}
		if p.StationM, err = l.length("station"); err != nil {
			return err
		}
		p.At, p.HasAt, err = l.place("lat", "lon")
		points = append(points, p)
		return err
	})
	if err != nil {
		return err
	}
	c.keep(points, func(from, to LevelPoint) float64 {
		apart := math.Abs(to.StationM - from.StationM)
		if math.IsNaN(apart) {
			apart, _ = geodesy.Distance(from.At, to.At)
		}
		return sigma("level", 0, apart)
	})
	return nil
}

// keep takes the points that are on the creek, in the order of the way; a
// point that comes again on the way back counts once.
func (c *CreekLevels) keep(points []LevelPoint, dropSigma func(from, to LevelPoint) float64) {
	for _, p := range points {
		c.Taped = c.Taped || written(p.StationM)
	}
	var on []LevelPoint
	named := map[string]bool{}
	for _, p := range points {
		if !written(p.StationM) && (c.Taped || !p.HasAt) || p.Point != "" && named[p.Point] {
			continue
		}
		named[p.Point] = true
		on = append(on, p)
	}
	if c.Taped {
		sort.SliceStable(on, func(i, k int) bool { return on[i].StationM < on[k].StationM })
	}
	along := 0.0
	for i, p := range on {
		q := CreekPoint{Name: p.Point, Line: p.Line, LevelM: p.LevelM, StationM: p.StationM, At: p.At, HasAt: p.HasAt}
		if i > 0 {
			q.DropSigmaM = dropSigma(on[i-1], p)
			if !c.Taped {
				d, _ := geodesy.Distance(on[i-1].At, p.At)
				along += d
			}
		}
		if !c.Taped {
			q.StationM = along
		}
		c.Points = append(c.Points, q)
	}
}

// settle turns the points downstream and checks them.
func (c *CreekLevels) settle() error {
	fault := func(code, text, hint string) error {
		return &finding.Fault{Code: code, File: c.File, Text: text, Hint: hint}
	}
	if len(c.Points) < 2 {
		return fault("levels_off_creek", fmt.Sprintf("%d of its points say where along the creek they are, and 2 are needed", len(c.Points)),
			"give the points their distance along the creek, or lat and lon; "+creekHint)
	}
	first, last := &c.Points[0], &c.Points[len(c.Points)-1]
	if last.LevelM > first.LevelM {
		c.turn()
	}
	from := c.Points[0].StationM
	for i := range c.Points {
		p := &c.Points[i]
		p.StationM -= from
		if p.HasAt {
			c.Places++
		}
		if i > 0 && p.StationM-c.Points[i-1].StationM < 0.01 {
			return &finding.Fault{Code: "levels_same_place", File: c.File, Line: p.Line,
				Text: fmt.Sprintf("%sis at the same distance along the creek as the point before, %s", nameOf(*p), strings.TrimSpace(nameOf(c.Points[i-1]))),
				Hint: "give each point of the creek its own distance; points beside the creek have none"}
		}
	}
	if fall := c.Points[0].LevelM - c.Points[len(c.Points)-1].LevelM; !(fall > 0) {
		return fault("levels_no_fall", "the creek does not fall from one end of the levels to the other", "check the levels: a creek runs downhill")
	}
	return nil
}

func nameOf(p CreekPoint) string {
	if p.Name == "" {
		return fmt.Sprintf("the point of line %d ", p.Line)
	}
	return fmt.Sprintf("point %q ", p.Name)
}

// turn reverses the order of the points.
func (c *CreekLevels) turn() {
	n := len(c.Points)
	end := c.Points[n-1].StationM
	turned := make([]CreekPoint, n)
	for i, p := range c.Points {
		q := p
		q.StationM = end - p.StationM
		q.DropSigmaM = 0
		if i+1 < n {
			q.DropSigmaM = c.Points[i+1].DropSigmaM
		}
		turned[n-1-i] = q
	}
	c.Points = turned
}
