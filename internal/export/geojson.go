package export

import (
	"bytes"
	"encoding/json"
	"io"
	"math"
	"strconv"

	"route/internal/plan"
)

// writeGeoJSON writes the plan as an RFC 7946 FeatureCollection: the creek,
// then each layout's pipes as LineStrings and its places as Points, best layout
// first. Positions are longitude, latitude, height; z_of says what the height
// is. One feature stands on a line, so that two files compare line by line.
func writeGeoJSON(w io.Writer, p *plan.Plan) error {
	features := []feature{creekFeature(p)}
	for i := range p.Layouts {
		features = append(features, layoutFeatures(&p.Layouts[i])...)
	}
	var b bytes.Buffer
	b.WriteString("{\"type\": \"FeatureCollection\", \"features\": [\n")
	for i, f := range features {
		text, err := json.Marshal(f)
		if err != nil {
			return err
		}
		b.Write(text)
		if i < len(features)-1 {
			b.WriteByte(',')
		}
		b.WriteByte('\n')
	}
	b.WriteString("]}\n")
	_, err := b.WriteTo(w)
	return err
}

// feature is a GeoJSON Feature (RFC 7946 section 3.2).
type feature struct {
	Type       string     `json:"type"`
	Properties properties `json:"properties"`
	Geometry   *geometry  `json:"geometry"` // null when its place is unknown
}

// geometry is a Point or a LineString.
type geometry struct {
	Type        string `json:"type"`
	Coordinates any    `json:"coordinates"` // position or []position
}

// position is longitude and latitude to nine decimals, a tenth of a millimetre,
// so that the height of a point between two others follows from them to the
// millimetre that heights have; the height only where it is known.
type position struct {
	lon, lat plan.Degrees
	z        plan.Number
}

func (p position) located() bool {
	return !math.IsNaN(float64(p.lon)) && !math.IsNaN(float64(p.lat))
}

// MarshalJSON writes two or three numbers.
func (p position) MarshalJSON() ([]byte, error) {
	b := []byte{'['}
	b = strconv.AppendFloat(b, float64(p.lon), 'f', 9, 64)
	b = append(b, ',')
	b = strconv.AppendFloat(b, float64(p.lat), 'f', 9, 64)
	if p.z.Known() {
		b = append(b, ',')
		b = strconv.AppendFloat(b, float64(p.z), 'f', 3, 64)
	}
	return append(b, ']'), nil
}

// properties keep their order.
type properties []property

type property struct {
	key   string
	value any
}

// MarshalJSON writes an object with its keys in the order given.
func (p properties) MarshalJSON() ([]byte, error) {
	b := []byte{'{'}
	for i, kv := range p {
		if i > 0 {
			b = append(b, ',')
		}
		text, err := json.Marshal(kv.value)
		if err != nil {
			return nil, err
		}
		b = strconv.AppendQuote(b, kv.key)
		b = append(b, ':')
		b = append(b, text...)
	}
	return append(b, '}'), nil
}

func point(at position, props properties) feature {
	f := feature{Type: "Feature", Properties: props}
	if at.located() {
		f.Geometry = &geometry{"Point", at}
	}
	return f
}

// lineString makes a line feature. Readers give a line one dimension, so its
// heights go as soon as one of them is unknown. A line needs two positions
// (RFC 7946 section 3.1.4).
func lineString(line []position, props properties) feature {
	f := feature{Type: "Feature", Properties: props}
	located, flat := make([]position, 0, len(line)), false
	for _, at := range line {
		if at.located() {
			located = append(located, at)
			flat = flat || !at.z.Known()
		}
	}
	if flat {
		for i := range located {
			located[i].z = plan.Unknown
		}
	}
	if len(located) >= 2 {
		f.Geometry = &geometry{"LineString", located}
	}
	return f
}

func creekFeature(p *plan.Plan) feature {
	line := make([]position, len(p.Creek.Stations))
	for i, s := range p.Creek.Stations {
		line[i] = position{s.Lon, s.Lat, s.ZM}
	}
	return lineString(line, properties{
		{"layout", nil}, {"rank", nil}, {"role", "creek"}, {"name", "Creek"}, {"z_of", "fitted water line"},
		{"length_m", p.Creek.LengthM}, {"fall_m", p.Creek.FallM},
	})
}

func layoutFeatures(l *plan.Layout) []feature {
	var all []feature
	head := func(role, name, zOf string) properties {
		return properties{{"layout", l.ID}, {"rank", l.Rank}, {"role", role}, {"name", name + ", layout " + l.ID}, {"z_of", zOf}}
	}
	pipe := func(role, name string, run pipeRun, more ...property) {
		line := make([]position, len(run.Path))
		for i, v := range run.Path {
			line[i] = position{v.Lon, v.Lat, v.InvertM}
		}
		props := append(head(role, name, "pipe invert"), property{"material", run.Material}, property{"size", run.Size},
			property{"inside_m", run.InsideM}, property{"length_m", run.LengthM}, property{"flow_l_s", run.FlowLS})
		all = append(all, lineString(line, append(props, more...)))
	}
	place := func(role, name string, at plan.Place, more ...property) {
		props := append(head(role, name, "ground"), property{"station_m", at.StationM}, property{"ground_m", at.GroundM})
		all = append(all, point(position{at.Lon, at.Lat, at.GroundM}, append(props, more...)))
	}
	if s := l.Supply; s != nil {
		pipe("supply", "Supply pipe", supplyRun(l), property{"loss_m", s.LossM})
	}
	pipe("drive", "Drive pipe", driveRun(l), property{"fall_m", l.Drive.FallM})
	pipe("delivery", "Delivery pipe", deliveryRun(l), property{"loss_m", l.Delivery.LossM}, property{"lift_m", l.Delivery.LiftM}, property{"crest_m", l.Delivery.CrestM})
	place("intake", "Intake", l.Intake.Place, property{"water_m", l.Intake.WaterM})
	if s := l.SettlingBox; s != nil {
		place("settling_box", "Settling box", s.Place, property{"water_m", s.WaterM})
	}
	if s := l.Standpipe; s != nil {
		place("standpipe", "Standpipe", s.Place, property{"height_m", s.HeightM}, property{"running_level_m", s.RunningLevelM})
	}
	place("pump", "Ram pump", l.Pump.Place, property{"outlet_m", l.Pump.OutletM}, property{"model", l.Pump.Model}, property{"count", l.Pump.Count},
		property{"drive_head_m", l.DriveHeadM}, property{"delivered_l_day", l.DeliveredLDay})
	place("tank", "Tank", l.Tank.Place, property{"inlet_m", l.Tank.InletM})
	return all
}
