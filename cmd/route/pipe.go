package main

import (
	"errors"
	"fmt"
	"io"
	"text/tabwriter"

	"route/internal/hydraulics"
	"route/internal/quantity"
)

// pipeCommand is `route pipe`.
type pipeCommand struct {
	Pipe      string `help:"Pipe by its name, such as \"PE SIDR 15 1 in\"; --list shows all." placeholder:"NAME"`
	Inside    string `help:"Inside diameter, for a pipe that is not in the list." placeholder:"DIAMETER"`
	Roughness string `help:"Wall roughness of such a pipe." default:"0.0015 mm" placeholder:"LENGTH"`
	Length    string `help:"Length of the run." placeholder:"LENGTH"`
	Flow      string `help:"Flow, to get the head that it loses." placeholder:"FLOW"`
	Fall      string `help:"Fall, to get the flow that it gives; with --flow and no pipe, to get the smallest pipes that will do." placeholder:"HEIGHT"`
	Minor     string `help:"Sum of the minor loss coefficients K of entrance, bends and valves." default:"0" placeholder:"K"`
	Temp      string `help:"Temperature of the water." default:"10 °C" placeholder:"TEMPERATURE"`
	Altitude  string `help:"Altitude of the place." default:"0 m" placeholder:"LENGTH"`
	Units     string `help:"What is printed: us or si." default:"si" enum:"us,si" placeholder:"us|si"`
	List      bool   `help:"List the pipes that the program knows, with their standards."`
}

// Help is shown below the flags.
func (pipeCommand) Help() string {
	return `Examples:
  route pipe --pipe "PE SIDR 15 1 in" --length "300 ft" --flow "5 gpm" --units us
  route pipe --pipe "PE100 SDR 11 DN32" --length 100m --fall 2m
  route pipe --inside 26.6mm --roughness 0.15mm --length 12m --flow "20 L/min" --minor 1.5 --json
  route pipe --length "300 ft" --flow "8 gpm" --fall "2 ft" --units us
  route pipe --list

A flow and a fall without a pipe give the smallest pipes that will do.`
}

// pipeResult is the JSON answer; the field names are part of the contract.
type pipeResult struct {
	FlowLMin           float64       `json:"flow_l_min"`
	LossM              float64       `json:"loss_m"` // minor loss included
	VelocityMS         float64       `json:"velocity_m_s"`
	Reynolds           float64       `json:"reynolds"`
	FrictionFactor     *float64      `json:"friction_factor"` // null where nothing flows
	Regime             string        `json:"regime"`
	MinorLossM         float64       `json:"minor_loss_m"`
	HazenWilliamsLossM *float64      `json:"hazen_williams_loss_m"` // null where no coefficient is usual
	Warnings           []warningJSON `json:"warnings"`
	Pipe               string        `json:"pipe"`
	InsideM            float64       `json:"inside_m"`
	WorksCited         []string      `json:"works_cited"`
}

// warningJSON is a finding as the calculators print it.
type warningJSON struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// Run answers for one run of pipe.
func (c *pipeCommand) Run(s *session) error {
	if c.List {
		return listPipes(s, unitSystem(c.Units))
	}
	if c.Pipe == "" && c.Inside == "" && c.Flow != "" && c.Fall != "" {
		return c.size(s)
	}
	r, sys, err := c.solve()
	if err != nil {
		return err
	}
	s.warned = len(r.Warnings) > 0
	if s.json {
		return s.printJSON(r)
	}
	return c.print(s.stdout, r, sys)
}

func unitSystem(word string) quantity.System {
	if word == "us" {
		return quantity.US
	}
	return quantity.SI
}

// flagReader collects the first error of a list of flags.
type flagReader struct{ err error }

func (f *flagReader) read(d quantity.Dimension, flag, text string) float64 {
	v, err := quantity.Parse(d, text)
	if err != nil && f.err == nil {
		f.err = flagError(flag, err)
	}
	return v
}

// positive reads a quantity that must be above zero.
func (f *flagReader) positive(d quantity.Dimension, flag, text string) float64 {
	v := f.read(d, flag, text)
	if f.err == nil && !(v > 0) {
		f.err = &usageError{text: fmt.Sprintf("%s: %s must be more than zero", flag, text)}
	}
	return v
}

// number reads a bare number that is not negative.
func (f *flagReader) number(flag, text string) float64 {
	var v float64
	if n, err := fmt.Sscanf(text+" ", "%g ", &v); f.err == nil && (err != nil || n != 1 || !(v >= 0)) {
		f.err = &usageError{text: fmt.Sprintf("%s: %q is not a number of zero or more", flag, text)}
	}
	return v
}

func flagError(flag string, err error) error {
	var p *quantity.ParseError
	if errors.As(err, &p) {
		return &usageError{text: flag + ": " + p.Text, hint: p.Hint}
	}
	return &usageError{text: flag + ": " + err.Error()}
}

// pipeNamed finds a product for a flag.
func pipeNamed(flag, name string) (hydraulics.Product, error) {
	p, err := hydraulics.ProductByName(name)
	var unknown *hydraulics.UnknownPipeError
	if errors.As(err, &unknown) {
		hint := "route pipe --list shows all"
		for i, n := range unknown.Nearby {
			if i == 0 {
				hint += "; near it are "
			} else {
				hint += ", "
			}
			hint += `"` + n + `"`
		}
		return p, &usageError{text: fmt.Sprintf("%s: no pipe is called %q", flag, name), hint: hint}
	}
	return p, err
}

func (c *pipeCommand) solve() (*pipeResult, quantity.System, error) {
	sys := unitSystem(c.Units)
	switch {
	case (c.Pipe == "") == (c.Inside == ""):
		return nil, sys, &usageError{text: "say which pipe: either --pipe or --inside", hint: `for example --pipe "PE SIDR 15 1 in"; a flow and a fall without a pipe give the smallest pipes that will do`}
	case (c.Flow == "") == (c.Fall == ""):
		return nil, sys, &usageError{text: "give either --flow, to get the loss, or --fall, to get the flow"}
	case c.Length == "":
		return nil, sys, &usageError{text: "--length is missing", hint: `for example --length "300 ft"`}
	}
	var f flagReader
	length := f.positive(quantity.Length, "--length", c.Length)
	minor := f.number("--minor", c.Minor)
	temp := f.read(quantity.Temperature, "--temp", c.Temp)
	altitude := f.read(quantity.Length, "--altitude", c.Altitude)
	name, pipe := c.Inside, hydraulics.Pipe{}
	var standard string
	if c.Pipe != "" {
		p, err := pipeNamed("--pipe", c.Pipe)
		if err != nil {
			return nil, sys, err
		}
		name, pipe, standard = p.Name, p.Pipe, p.Standard+": "+p.Source
	} else {
		pipe = hydraulics.Pipe{Inside: f.positive(quantity.Diameter, "--inside", c.Inside), Roughness: f.read(quantity.Roughness, "--roughness", c.Roughness)}
	}
	if f.err != nil {
		return nil, sys, f.err
	}
	water, err := hydraulics.Water(temp, altitude)
	if err != nil {
		return nil, sys, explain(err, sys)
	}
	var flow float64
	if c.Flow != "" {
		flow = f.read(quantity.Flow, "--flow", c.Flow)
	} else {
		fall := f.read(quantity.Head, "--fall", c.Fall)
		if f.err == nil {
			if flow, err = hydraulics.FlowFor(water, pipe, length, fall, minor); err != nil {
				return nil, sys, explain(err, sys)
			}
		}
	}
	if f.err != nil {
		return nil, sys, f.err
	}
	r, err := pipeAnswer(water, pipe, length, flow, minor, sys)
	if err != nil {
		return nil, sys, explain(err, sys)
	}
	r.Pipe, r.InsideM = name, pipe.Inside
	if standard != "" {
		r.WorksCited = append(r.WorksCited, standard)
	}
	return r, sys, nil
}

func pipeAnswer(water hydraulics.Fluid, pipe hydraulics.Pipe, length, flow, minor float64, sys quantity.System) (*pipeResult, error) {
	loss, err := hydraulics.HeadLoss(water, pipe, length, flow, minor)
	if err != nil {
		return nil, err
	}
	v := flow / pipe.Area()
	re := hydraulics.Reynolds(water, pipe, flow)
	r := &pipeResult{
		FlowLMin: flow * 60e3, LossM: loss, VelocityMS: v, Reynolds: re,
		Regime:     hydraulics.RegimeOf(re).String(),
		MinorLossM: minor * v * v / (2 * hydraulics.Gravity),
		Warnings:   []warningJSON{},
		WorksCited: []string{
			"Darcy–Weisbach; Colebrook, J. Inst. Civ. Eng. 11 (1939) 133–156; 64/Re below Re 2000; Dunlop's cubic between 2000 and 4000, rebuilt on Colebrook",
			"Kell, J. Chem. Eng. Data 20 (1975) 97–105; Kestin, Sokolov & Wakeham, J. Phys. Chem. Ref. Data 7 (1978) 941–948",
		},
	}
	if flow > 0 {
		f, err := hydraulics.FrictionFactor(re, pipe.Roughness/pipe.Inside)
		if err != nil {
			return nil, err
		}
		r.FrictionFactor = &f
	}
	if pipe.HazenWilliams > 0 {
		hw := hydraulics.HazenWilliamsLoss(pipe.HazenWilliams, pipe.Inside, length, flow) + r.MinorLossM
		r.HazenWilliamsLossM = &hw
	}
	warn := func(code, text string, values ...quantity.Value) {
		r.Warnings = append(r.Warnings, warningJSON{code, quantity.Text(sys, text, values...)})
	}
	if hydraulics.RegimeOf(re) == hydraulics.Transition {
		warn("uncertain_friction", fmt.Sprintf("the flow is between laminar and turbulent (Re %.0f): the loss may be 20 %% off either way", re))
	}
	if v > 1.5 {
		warn("fast_flow", "the water runs at {0}; above {1} a valve that shuts quickly makes a hard surge", quantity.Of(quantity.Velocity, v), quantity.Of(quantity.Velocity, 1.5))
	}
	return r, nil
}

func (c *pipeCommand) print(w io.Writer, r *pipeResult, sys quantity.System) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	row := func(label string, d quantity.Dimension, v float64, more string) {
		fmt.Fprintf(t, "%s\t%s%s\n", label, quantity.Format(sys, d, v), more)
	}
	fmt.Fprintf(t, "Pipe\t%s, %s inside\n", r.Pipe, quantity.Format(sys, quantity.Diameter, r.InsideM))
	row("Flow", quantity.Flow, r.FlowLMin/60e3, "")
	more := ""
	if r.MinorLossM > 0 {
		more = ", of which fittings " + quantity.Format(sys, quantity.Head, r.MinorLossM)
	}
	row("Head lost", quantity.Head, r.LossM, more)
	row("Velocity", quantity.Velocity, r.VelocityMS, "")
	fmt.Fprintf(t, "Regime\t%s, Re %.0f", r.Regime, r.Reynolds)
	if r.FrictionFactor != nil {
		fmt.Fprintf(t, ", friction factor %.4f", *r.FrictionFactor)
	}
	fmt.Fprintln(t)
	if r.HazenWilliamsLossM != nil {
		row("Hazen–Williams would say", quantity.Head, *r.HazenWilliamsLossM, " (for comparison only)")
	}
	for _, warning := range r.Warnings {
		fmt.Fprintf(t, "Note\t%s\n", warning.Text)
	}
	return t.Flush()
}

// listPipes prints every pipe with its standard.
func listPipes(s *session, sys quantity.System) error {
	type entry struct {
		Name     string  `json:"name"`
		Standard string  `json:"standard"`
		Source   string  `json:"source"`
		InsideM  float64 `json:"inside_m"`
		WallM    float64 `json:"wall_m"`
		RatingM  float64 `json:"rating_m"`
	}
	var list []entry
	for _, p := range hydraulics.Products() {
		list = append(list, entry{p.Name, p.Standard, p.Source, p.Pipe.Inside, p.Pipe.Wall, p.Pipe.Rating})
	}
	if s.json {
		return s.printJSON(list)
	}
	t := tabwriter.NewWriter(s.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "pipe\tinside\twall\trated\tstandard")
	for _, p := range list {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", p.Name, quantity.Format(sys, quantity.Diameter, p.InsideM), quantity.Format(sys, quantity.Diameter, p.WallM),
			quantity.Format(sys, quantity.Pressure, p.RatingM*9806.65), p.Standard)
	}
	return t.Flush()
}
