package plan

import (
	"context"
	"errors"
	"fmt"
	"math"

	"route/internal/finding"
)

// Inspection is what the inputs are and what is wrong with them.
type Inspection struct {
	Site     string    `json:"site"`
	Inputs   []Input   `json:"inputs"`
	Extents  []Extent  `json:"extents"` // of the rasters, in their order
	TrackM   Number    `json:"track_length_m"`
	Gaps     int       `json:"track_gaps"`
	Messages []Message `json:"messages"`
	Defaults []Default `json:"defaults"`
}

// Extent is what a raster covers, in degrees of WGS 84; null for one that is
// refused, because its place is not worked out.
type Extent struct {
	Path  string  `json:"path"`
	South Degrees `json:"south"`
	North Degrees `json:"north"`
	West  Degrees `json:"west"`
	East  Degrees `json:"east"`
}

// extents lists what the rasters cover.
func (j *job) extents() []Extent {
	all := []Extent{}
	if j.source == nil {
		return all
	}
	for i, info := range j.source.Infos() {
		nan := Degrees(math.NaN())
		e := Extent{Path: j.site.Terrain[min(i, len(j.site.Terrain)-1)], South: nan, North: nan, West: nan, East: nan}
		if !math.IsNaN(info.CellM) {
			e.South, e.North, e.West, e.East = Degrees(info.South), Degrees(info.North), Degrees(info.West), Degrees(info.East)
		}
		all = append(all, e)
	}
	return all
}

// Failed says whether something keeps a plan from being made.
func (i *Inspection) Failed() bool { return hasLevel(i.Messages, finding.Error) }

// Warned says whether a result would carry warnings.
func (i *Inspection) Warned() bool { return hasLevel(i.Messages, finding.Warning) }

func hasLevel(messages []Message, level finding.Level) bool {
	for _, m := range messages {
		if m.Level == string(level) {
			return true
		}
	}
	return false
}

// Inspect reads every input and lists every problem: where Run stops at the
// first, Inspect goes on with whatever does not depend on it.
func Inspect(ctx context.Context, site *Site) *Inspection {
	j := newJob(ctx, site, nil)
	defer j.close()
	found := &Inspection{Site: site.Name, TrackM: Unknown, Defaults: site.Defaults()}
	try := func(step func() error) bool {
		if ctx.Err() != nil {
			return false
		}
		err := step()
		j.plan.Messages = append(j.plan.Messages, problems(err)...)
		return err == nil
	}
	creek := try(j.readCreek)
	terrain := len(j.site.Terrain) > 0 && try(j.openTerrain)
	if creek {
		length := 0.0
		for _, leg := range j.walked.legs {
			length += lengthOf(leg)
		}
		if j.levels != nil && !j.hasPlace() {
			length = j.levels.Points[len(j.levels.Points)-1].StationM
		}
		found.TrackM, found.Gaps = Number(length), max(0, len(j.walked.legs)-1)
	}
	creek = creek && try(j.needPlace)
	tank := creek && terrain && try(j.findTank)
	if creek && terrain && try(j.placeFrame) && try(j.loadGround) {
		tank = tank && try(j.standTank)
		if try(j.longProfile) {
			measured := try(j.takeField)
			if tank {
				if measured {
					try(j.takeLift)
				}
				try(j.checkTank)
			}
		}
		try(j.readLand)
	}
	if j.ground == nil && j.source != nil {
		j.describeTerrain()
	}
	if j.ground == nil && terrain {
		j.tell(j.source.Findings()...)
	}
	if try(j.readCatalog) {
		try(j.priceCrossings)
	}
	j.tellFlow()
	j.tellDemand()
	sortMessages(j.plan.Messages)
	found.Inputs, found.Messages, found.Extents = j.plan.Inputs, j.plan.Messages, j.extents()
	return found
}

// problems are the message forms of an error, one for each fault in it.
func problems(err error) []Message {
	if err == nil {
		return nil
	}
	if several, ok := err.(interface{ Unwrap() []error }); ok {
		var all []Message
		for _, e := range several.Unwrap() {
			all = append(all, problems(e)...)
		}
		return all
	}
	m := Message{Level: string(finding.Error), Code: "failed", Text: err.Error(), StationM: Unknown}
	var fault *finding.Fault
	if errors.As(err, &fault) {
		m.Code, m.Text, m.Hint, m.File, m.Line = fault.Code, fault.Error(), fault.Hint, fault.File, fault.Line
	}
	return []Message{m}
}

// describeTerrain lists the rasters among the inputs.
func (j *job) describeTerrain() {
	for i, info := range j.source.Infos() {
		j.plan.Inputs = append(j.plan.Inputs, Input{
			Path:          j.site.Terrain[min(i, len(j.site.Terrain)-1)],
			Role:          "terrain",
			SHA256:        info.SHA256,
			CRS:           info.CRS,
			VerticalUnit:  info.VerticalUnit,
			VerticalDatum: info.VerticalDatum,
			CellM:         Number(info.CellM),
			CellText:      info.Cell,
			AccuracyClass: info.AccuracyClass,
			AccuracyWhy:   info.AccuracyWhy,
		})
	}
}

// describeCreek puts the long profile into the plan.
func (j *job) describeCreek() {
	c := j.creek
	n := c.Len()
	j.plan.Creek.LengthM = Number(c.Stations[n-1] - c.Stations[0])
	j.plan.Creek.FallM = Number(c.ZM[0] - c.ZM[n-1])
	j.plan.Creek.Stations = make([]CreekStation, n)
	for i := range n {
		at := j.frame.ToLonLat(c.Points[i])
		j.plan.Creek.Stations[i] = CreekStation{
			StationM: Number(c.Stations[i]),
			Lon:      Degrees(at.Lon),
			Lat:      Degrees(at.Lat),
			ZM:       Number(c.ZM[i]),
			ZSigmaM:  Number(c.SigmaM[i]),
			LowM:     Number(c.LowM[i]),
			HighM:    Number(c.HighM[i]),
			RawM:     Number(c.RawM[i]),
			Flags:    c.Flags[i].Names(),
		}
	}
}

// standTank reads the ground under the tank.
func (j *job) standTank() error {
	z, ok := j.ground.At(j.tank)
	if !ok {
		return &finding.Fault{Code: "tank_void", File: j.site.path(j.site.Terrain[0]), Text: fmt.Sprintf("the terrain has no height at the tank (%.6f, %.6f): %v", j.tankAt.Lat, j.tankAt.Lon, j.ground.Why(j.tank)), Hint: "move the tank a little, or add a terrain tile that covers it"}
	}
	j.tankM = z
	return nil
}
