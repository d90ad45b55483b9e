package plan

import (
	"math"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"

	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/quantity"
)

// FlowReading is the creek's low flow as it was measured.
type FlowReading struct {
	hydraulics.FlowReading
	Text, Hint string // how; {0} is the flow, {1} its standard deviation
	Values     []quantity.Value
}

// lowFlowKey is the key of a low flow that is given as a number.
const lowFlowKey = "creek_flow.low"

// flowReadings reads each kind of measurement that can stand in its place.
var flowReadings = map[string]func(r *siteReader, path string, n ast.Node) (*FlowReading, error){
	"creek_flow.bucket":  (*siteReader).bucket,
	"creek_flow.float":   (*siteReader).float,
	"creek_flow.section": (*siteReader).section,
}

// flowReading reads a measurement and takes it for the low flow.
func (r *siteReader) flowReading(path string, e *ast.MappingValueNode) error {
	reading, err := flowReadings[path](r, path, e.Value)
	if err != nil {
		return err
	}
	const least, most = 1e-5, 10 // m³/s, as of creek_flow.low
	if !(reading.Flow >= least && reading.Flow <= most) {
		return r.fault(e.Key.GetToken(), "site_value", "check the units", "%s gives a flow of %s, which is no creek for a ram", path, quantity.Format(r.site.Units, quantity.Flow, reading.Flow))
	}
	reading.Values = append([]quantity.Value{quantity.Of(quantity.Flow, reading.Flow), quantity.Of(quantity.Flow, reading.Sigma)}, reading.Values...)
	r.site.LowFlow, r.site.LowFlowReading = reading.Flow, reading
	r.site.given[path] = true
	return r.onceLow(e.Key.GetToken())
}

// onceLow refuses a low flow that is given twice.
func (r *siteReader) onceLow(at *token.Token) error {
	if r.flow != nil {
		return r.fault(at, "site_value", "keep the one that you trust most", "the low flow is given twice: creek_flow takes one of low, bucket, float and section")
	}
	r.flow = at
	return nil
}

// part is a quantity inside a reading.
type part struct {
	dim      quantity.Dimension
	zero     bool // may be nothing
	optional bool
	many     bool // may be a list
}

// parts reads the quantities of a reading.
func (r *siteReader) parts(path string, n ast.Node, want map[string]part, example string) (map[string][]float64, error) {
	entries, ok := entriesOf(n)
	if !ok {
		return nil, r.fault(n.GetToken(), "site_structure", "", "%s must hold %s", path, example)
	}
	got := map[string][]float64{}
	for _, e := range entries {
		name := e.Key.GetToken().Value
		p, ok := want[name]
		if !ok {
			return nil, r.fault(e.Key.GetToken(), "site_unknown_key", "expected "+example, "%q is not known in %s", name, path)
		}
		nodes := []ast.Node{e.Value}
		if seq, ok := e.Value.(*ast.SequenceNode); ok && p.many {
			nodes = seq.Values
		}
		for _, node := range nodes {
			v, err := quantity.Parse(p.dim, node.GetToken().Value)
			if err != nil {
				return nil, r.fault(node.GetToken(), "site_value", "", "%s.%s: %s", path, name, err)
			}
			if v < 0 || v == 0 && !p.zero {
				return nil, r.fault(node.GetToken(), "site_value", "", "%s.%s: %q is not possible here", path, name, node.GetToken().Value)
			}
			got[name] = append(got[name], v)
		}
	}
	for name, p := range want {
		if !p.optional && len(got[name]) == 0 {
			return nil, r.fault(n.GetToken(), "site_value", "expected "+example, "%s does not say its %s", path, name)
		}
	}
	return got, nil
}

// bucket reads fillings of a vessel that the whole creek runs into.
func (r *siteReader) bucket(path string, n ast.Node) (*FlowReading, error) {
	got, err := r.parts(path, n, map[string]part{
		"volume":  {dim: quantity.Volume},
		"seconds": {dim: quantity.Duration, many: true},
	}, `{volume: "20 L", seconds: ["11 s", "12 s", "10.5 s"]}`)
	if err != nil {
		return nil, err
	}
	volume, seconds := got["volume"][0], got["seconds"]
	q, err := hydraulics.BucketReading(volume, seconds)
	if err != nil {
		return nil, r.fault(n.GetToken(), "site_value", "", "%s: %s", path, err)
	}
	reading := &FlowReading{FlowReading: q, Text: "the creek's low flow of {0}, give or take {1}, comes from " + plural(len(seconds), "filling", "fillings") + " of a vessel of {2} in {3} on average",
		Values: []quantity.Value{quantity.Of(quantity.Volume, volume), quantity.Of(quantity.Duration, mean(seconds))}}
	if len(seconds) < 3 || volume/q.Flow < 10 {
		reading.Hint = "three fillings or more, of ten seconds or more each, are surer"
	}
	return reading, nil
}

// float reads the drift of something that swims.
func (r *siteReader) float(path string, n ast.Node) (*FlowReading, error) {
	got, err := r.parts(path, n, map[string]part{
		"distance": {dim: quantity.Length},
		"seconds":  {dim: quantity.Duration, many: true},
		"width":    {dim: quantity.Length},
		"depth":    {dim: quantity.Length},
	}, `{distance: "5 m", seconds: ["14 s", "15 s"], width: "1.2 m", depth: "0.15 m"}`)
	if err != nil {
		return nil, err
	}
	width, depth := got["width"][0], got["depth"][0]
	surface := got["distance"][0] / mean(got["seconds"])
	q := hydraulics.FloatReading(surface, width*depth, depth)
	return &FlowReading{FlowReading: q,
		Text:   "the creek's low flow of {0}, give or take {1}, comes from a float at {2} over a section {3} wide and {4} deep; the water as a whole is taken to run at {5} of the float's speed",
		Hint:   "a bucket or a small notched board is surer",
		Values: []quantity.Value{quantity.Of(quantity.Velocity, surface), quantity.Metres(width), quantity.Metres(depth), quantity.Of(quantity.Ratio, hydraulics.FloatCoefficient(depth))},
	}, nil
}

// section reads soundings from bank to bank.
func (r *siteReader) section(path string, n ast.Node) (*FlowReading, error) {
	const example = `[{at: "0 m", depth: "0 m"}, {at: "0.5 m", depth: "0.2 m", velocity: "0.3 m/s"}, {at: "1 m", depth: "0 m"}]`
	seq, ok := n.(*ast.SequenceNode)
	if !ok {
		return nil, r.fault(n.GetToken(), "site_structure", "", "%s must list soundings from bank to bank, such as %s", path, example)
	}
	var verticals []hydraulics.Vertical
	for _, item := range seq.Values {
		got, err := r.parts(path, item, map[string]part{
			"at":       {dim: quantity.Length, zero: true},
			"depth":    {dim: quantity.Length, zero: true},
			"velocity": {dim: quantity.Velocity, zero: true, optional: true},
		}, example)
		if err != nil {
			return nil, err
		}
		v := hydraulics.Vertical{DistanceM: got["at"][0], DepthM: got["depth"][0]}
		if len(got["velocity"]) > 0 {
			v.VelocityMS = got["velocity"][0]
		} else if v.DepthM > 0 {
			return nil, r.fault(item.GetToken(), "site_value", "", "%s: a sounding in the water needs its velocity, at six tenths of the depth", path)
		}
		verticals = append(verticals, v)
	}
	q, err := hydraulics.SectionReading(verticals)
	if err != nil {
		return nil, r.fault(n.GetToken(), "site_value", "list at least three soundings, bank to bank, with rising distances: "+example, "%s: %s", path, err)
	}
	return &FlowReading{FlowReading: q,
		Text:   "the creek's low flow of {0}, give or take {1}, comes from " + plural(len(verticals), "sounding", "soundings") + " of a section {2} wide",
		Values: []quantity.Value{quantity.Metres(verticals[len(verticals)-1].DistanceM - verticals[0].DistanceM)},
	}, nil
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// plural counts something: "1 filling", "3 fillings".
func plural(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return textf("%d %s", n, more)
}

// lowFlowSigma is the standard deviation of the low flow; 0 when it is not
// known.
func (s *Site) lowFlowSigma() float64 {
	if s.LowFlowReading == nil {
		return 0
	}
	return math.Max(s.LowFlowReading.Sigma, 0)
}

// tellFlow says how the low flow was worked out.
func (j *job) tellFlow() {
	if f := j.site.LowFlowReading; f != nil {
		j.tell(finding.New(finding.Note, "creek_flow_measured", f.Text, f.Hint, f.Values...))
	}
}
