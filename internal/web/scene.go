package web

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"math"
	"slices"
	"strconv"

	"github.com/paulmach/orb"

	"route/internal/plan"
	"route/internal/quantity"
)

// sceneView is the ground of the page: what stays while layouts come and go.
type sceneView struct {
	Name   string  `json:"name"`
	Units  string  `json:"units"`
	North  float64 `json:"north_degrees"`
	Relief struct {
		Extent [4]float64 `json:"extent"`
	} `json:"relief"`
	Contours struct {
		US []contour `json:"us"`
		SI []contour `json:"si"`
	} `json:"contours"`
	Creek struct {
		StationM []float64 `json:"station_m"`
		At       []point   `json:"at"`
	} `json:"creek"`
	Flags    []flag      `json:"flags"`
	Land     []landShape `json:"land"`
	Writable bool        `json:"writable"`
	// Pins are those of the site file.
	Pins map[string]pinned `json:"pins"`
}

// contour is all lines of one height; every fifth is drawn stronger and bears
// its height.
type contour struct {
	Text  string    `json:"text"`
	Index bool      `json:"index"`
	Lines [][]point `json:"lines"`
}

type flag struct {
	FromM float64 `json:"from_m"`
	ToM   float64 `json:"to_m"`
	Name  string  `json:"name"`
	Text  string  `json:"text"`
}

type landShape struct {
	Role  string    `json:"role"`
	Rings [][]point `json:"rings"`
}

func cm(v float64) float64 { return math.Round(v*100) / 100 }

func points(line orb.LineString) []point {
	list := make([]point, len(line))
	for i, p := range line {
		list[i] = point{cm(p[0]), cm(p[1])}
	}
	return list
}

func newSceneView(desk *plan.Desk, s *plan.Scene) (*sceneView, error) {
	file := desk.Site().File
	v := &sceneView{Name: s.Name, Units: unitsWord(s.System), North: s.NorthDegrees, Flags: []flag{}, Land: []landShape{}, Writable: file != "" && file != "-", Pins: map[string]pinned{}}
	stations, err := desk.PinStations()
	if err != nil {
		return nil, err
	}
	for role, m := range stations {
		v.Pins[role] = pinned{StationM: float64(m), None: !m.Known()}
	}
	v.Relief.Extent = [4]float64{cm(s.Bound.Min[0]), cm(s.Bound.Min[1]), cm(s.Bound.Max[0]), cm(s.Bound.Max[1])}
	v.Contours.SI = contours(s, quantity.SI)
	v.Contours.US = contours(s, quantity.US)
	for _, m := range s.StationsM {
		v.Creek.StationM = append(v.Creek.StationM, cm(m))
	}
	v.Creek.At = points(s.Creek)
	for _, d := range s.Doubts {
		v.Flags = append(v.Flags, flag{d.FromM, d.ToM, d.Name, flagText(d.Name)})
	}
	for _, l := range s.Land {
		shape := landShape{Role: l.Role}
		for _, line := range l.Lines {
			shape.Rings = append(shape.Rings, points(line))
		}
		v.Land = append(v.Land, shape)
	}
	return v, nil
}

// flagTexts say what a flag of the profile means.
var flagTexts = map[string]string{
	"void":     "The terrain has no height here; the profile is bridged.",
	"bridge":   "A bridge, a culvert or a fill hides the creek here; the heights are not used.",
	"flat":     "The terrain was made flat here, as water surfaces are.",
	"gap":      "The walked track has a gap here.",
	"junction": "Two channels lie close together here; the line may follow the wrong one.",
	"seam":     "Two terrain files meet here and do not agree in height.",
}

func flagText(name string) string {
	if text, ok := flagTexts[name]; ok {
		return text
	}
	return plan.Sentence(name)
}

func unitsWord(s quantity.System) string {
	if s == quantity.US {
		return "us"
	}
	return "si"
}

func contours(s *plan.Scene, system quantity.System) []contour {
	all, step := s.ContoursM, s.StepM
	if system == quantity.US {
		all, step = s.ContoursFt, s.StepFtM
	}
	list := []contour{}
	last := math.NaN()
	for _, c := range all {
		if c.LevelM != last {
			last = c.LevelM
			list = append(list, contour{Text: levelText(system, c.LevelM), Index: int(math.Round(c.LevelM/step))%5 == 0})
		}
		list[len(list)-1].Lines = append(list[len(list)-1].Lines, points(c.Line))
	}
	return list
}

// levelText is a round height in words.
func levelText(system quantity.System, m float64) string {
	unit, perSI, _ := quantity.Unit(system, quantity.Length)
	return strconv.FormatFloat(math.Round(m*perSI*100)/100, 'f', -1, 64) + " " + unit
}

// reliefPNG draws the hillshade; where the height is unknown it is clear.
func reliefPNG(s *plan.Scene) ([]byte, error) {
	shades := make(color.Palette, 256)
	shades[0] = color.NRGBA{}
	for k := 1; k < 256; k++ {
		// Lifted towards white, so that lines and words stay readable on it.
		v := uint8(90 + k*165/255)
		shades[k] = color.NRGBA{v, v, v, 255}
	}
	picture := &image.Paletted{Pix: slices.Clone(s.Shade), Stride: s.Cols, Rect: image.Rect(0, 0, s.Cols, s.Rows), Palette: shades}
	var out bytes.Buffer
	encoder := png.Encoder{CompressionLevel: png.BestSpeed}
	err := encoder.Encode(&out, picture)
	return out.Bytes(), err
}
