package main

import (
	"fmt"
	"text/tabwriter"

	"route/internal/hydraulics"
	"route/internal/quantity"
)

// sizeJSON is the answer to a flow and a fall without a pipe.
type sizeJSON struct {
	LeastInsideM float64        `json:"least_inside_m"` // loses the whole fall, as smooth as --roughness says
	Pipes        []sizeFitsJSON `json:"pipes"`          // the smallest of each family that is wide enough
	Warnings     []warningJSON  `json:"warnings"`
}

type sizeFitsJSON struct {
	Pipe       string  `json:"pipe"`
	InsideM    float64 `json:"inside_m"`
	LossM      float64 `json:"loss_m"`
	VelocityMS float64 `json:"velocity_m_s"`
}

// size finds the smallest pipes that carry a flow on a fall.
func (c *pipeCommand) size(s *session) error {
	sys := unitSystem(c.Units)
	if c.Length == "" {
		return &usageError{text: "--length is missing", hint: `for example --length "300 ft"`}
	}
	var f flagReader
	length := f.positive(quantity.Length, "--length", c.Length)
	minor := f.number("--minor", c.Minor)
	temp, altitude := f.read(quantity.Temperature, "--temp", c.Temp), f.read(quantity.Length, "--altitude", c.Altitude)
	roughness := f.read(quantity.Roughness, "--roughness", c.Roughness)
	flow, fall := f.positive(quantity.Flow, "--flow", c.Flow), f.positive(quantity.Head, "--fall", c.Fall)
	if f.err != nil {
		return f.err
	}
	water, err := hydraulics.Water(temp, altitude)
	if err != nil {
		return explain(err, sys)
	}
	r := &sizeJSON{Pipes: []sizeFitsJSON{}, Warnings: []warningJSON{}}
	if r.LeastInsideM, err = hydraulics.SmallestBore(water, roughness, length, flow, fall, minor); err != nil {
		return explain(err, sys)
	}
	asked := map[string]bool{}
	for _, p := range hydraulics.Products() {
		if asked[p.Family] {
			continue
		}
		asked[p.Family] = true
		best, ok := hydraulics.SmallestProduct(p.Family, water, length, flow, fall, minor)
		if !ok {
			continue
		}
		loss, err := hydraulics.HeadLoss(water, best.Pipe, length, flow, minor)
		if err != nil {
			return explain(err, sys)
		}
		r.Pipes = append(r.Pipes, sizeFitsJSON{best.Name, best.Pipe.Inside, loss, flow / best.Pipe.Area()})
	}
	if len(r.Pipes) == 0 {
		r.Warnings = append(r.Warnings, warningJSON{"no_pipe_wide_enough", "no pipe that the program knows is wide enough: share the flow between several, or find more fall"})
		s.warned = true
	}
	if s.json {
		return s.printJSON(r)
	}
	show := func(d quantity.Dimension, v float64) string { return quantity.Format(sys, d, v) }
	t := tabwriter.NewWriter(s.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "At least %s inside for %s over %s on %s of fall.\n", show(quantity.Diameter, r.LeastInsideM), show(quantity.Flow, flow), show(quantity.Length, length), show(quantity.Head, fall))
	if len(r.Pipes) > 0 {
		fmt.Fprintln(t, "\nsmallest of its family\tinside\thead lost\tvelocity")
	}
	for _, p := range r.Pipes {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\n", p.Pipe, show(quantity.Diameter, p.InsideM), show(quantity.Head, p.LossM), show(quantity.Velocity, p.VelocityMS))
	}
	for _, w := range r.Warnings {
		fmt.Fprintf(t, "Note: %s\n", w.Text)
	}
	return t.Flush()
}
