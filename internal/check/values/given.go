package values

import (
	"fmt"
	"sort"
	"strconv"
	"strings"

	"route/internal/check"
	"route/internal/hydraulics"
	"route/internal/quantity"
)

// answers are what an op gives back, by name.
type answers map[string]check.Answer

// given reads the give lines of a case and keeps the first error; a line that
// nobody reads is an error too.
type given struct {
	give map[string]string
	used map[string]bool
	err  error
}

func (g *given) fail(err error) {
	if g.err == nil && err != nil {
		g.err = err
	}
}

func (g *given) done() error {
	if g.err != nil {
		return g.err
	}
	var unread []string
	for k := range g.give {
		if !g.used[k] {
			unread = append(unread, k)
		}
	}
	sort.Strings(unread)
	if len(unread) > 0 {
		return fmt.Errorf("nobody reads %s", strings.Join(unread, ", "))
	}
	return nil
}

func (g *given) has(name string) bool { _, ok := g.give[name]; return ok }

func (g *given) text(name string) string {
	g.used[name] = true
	if !g.has(name) {
		g.fail(fmt.Errorf("%s is not given", name))
	}
	return g.give[name]
}

func (g *given) read(name string, read func(string) (float64, error)) float64 {
	t := g.text(name)
	if g.err != nil {
		return 0
	}
	v, err := read(t)
	if err != nil {
		g.fail(fmt.Errorf("%s: %w", name, err))
	}
	return v
}

func (g *given) of(d quantity.Dimension, name string) float64 {
	return g.read(name, func(s string) (float64, error) { return quantity.Parse(d, s) })
}

// or reads a quantity that may be left out.
func (g *given) or(d quantity.Dimension, name string, otherwise float64) float64 {
	if !g.has(name) {
		return otherwise
	}
	return g.of(d, name)
}

func (g *given) number(name string, otherwise float64) float64 {
	if !g.has(name) {
		return otherwise
	}
	return g.read(name, number.read)
}

// water is the fluid of a case: by temperature, or by density and viscosity.
func (g *given) fluid() hydraulics.Fluid {
	var f hydraulics.Fluid
	if g.has("temperature") {
		var err error
		f, err = hydraulics.Water(g.of(quantity.Temperature, "temperature"), g.or(quantity.Length, "altitude", 0))
		g.fail(err)
	}
	if g.has("density") {
		f.Density = g.read("density", density.read)
	}
	if g.has("viscosity") {
		f.KinematicViscosity = g.read("viscosity", dynamic.read) / f.Density
	}
	if g.has("kinematic viscosity") {
		f.KinematicViscosity = g.read("kinematic viscosity", kinematic.read)
	}
	return f
}

// pipe is a named pipe, or a bore with a roughness; suffix numbers the pipes
// of a series.
func (g *given) pipe(suffix string) hydraulics.Pipe {
	if g.has("pipe" + suffix) {
		p, err := hydraulics.ProductByName(g.text("pipe" + suffix))
		g.fail(err)
		if g.has("roughness") {
			p.Pipe.Roughness = g.of(quantity.Roughness, "roughness")
		}
		return p.Pipe
	}
	return hydraulics.Pipe{Inside: g.of(quantity.Diameter, "inside"+suffix), Roughness: g.or(quantity.Roughness, "roughness", 0)}
}

// minorK sums K and fittings: "4 standard 90° elbow + exit".
func (g *given) minorK(suffix string, bore float64) float64 {
	k := g.number("minor K"+suffix, 0)
	if !g.has("fittings" + suffix) {
		return k
	}
	for _, part := range strings.Split(g.text("fittings"+suffix), " + ") {
		part = strings.TrimSpace(part)
		count := 1
		if first, rest, ok := strings.Cut(part, " "); ok {
			if n, err := strconv.Atoi(first); err == nil {
				count, part = n, rest
			}
		}
		f, err := hydraulics.FittingByName(part)
		g.fail(err)
		k += float64(count) * f.LossK(bore)
	}
	return k
}

// unit is a way to read and show numbers that quantity has no dimension for.
type unit struct {
	name string
	si   float64
	also map[string]float64
}

var (
	number    = unit{"", 1, nil}
	density   = unit{"kg/m³", 1, map[string]float64{"kg/m3": 1, "lb/ft3": 0.45359237 / (0.3048 * 0.3048 * 0.3048), "g/mL": 1000}}
	dynamic   = unit{"mPa·s", 1e-3, map[string]float64{"mPa s": 1e-3, "cP": 1e-3}}
	kinematic = unit{"mm²/s", 1e-6, map[string]float64{"mm2/s": 1e-6, "cSt": 1e-6}}
	modulus   = unit{"GPa", 1e9, map[string]float64{"MPa": 1e6, "psi": 6894.757293168}}
	perMinute = unit{"a minute", 1, nil}
	force     = unit{"N", 1, map[string]float64{"kN": 1e3}}
)

func (u unit) read(s string) (float64, error) {
	s = strings.TrimSpace(s)
	factors := map[string]float64{u.name: u.si}
	for k, v := range u.also {
		factors[k] = v
	}
	for name, si := range factors {
		head, ok := strings.CutSuffix(s, name)
		if !ok || name == "" {
			continue
		}
		// A longer unit that ends in this one leaves a word behind.
		if v, err := strconv.ParseFloat(strings.TrimSpace(head), 64); err == nil {
			return v * si, nil
		}
	}
	if u.name != "" {
		return 0, fmt.Errorf("%q is not a number of %s", s, u.name)
	}
	return strconv.ParseFloat(s, 64)
}

func (u unit) answer(v float64) check.Answer {
	return check.Answer{Value: v, Read: u.read, Show: func(v float64) string {
		return strings.TrimSpace(strconv.FormatFloat(v/u.si, 'g', 6, 64) + " " + u.name)
	}}
}

// answer is an answer in the SI unit of a dimension.
func answer(d quantity.Dimension, v float64) check.Answer {
	name, perSI, offset := quantity.Unit(quantity.SI, d)
	return check.Answer{
		Value: v,
		Read:  func(s string) (float64, error) { return quantity.Parse(d, s) },
		Show: func(v float64) string {
			return strconv.FormatFloat(perSI*v+offset, 'g', 5, 64) + " " + name
		},
	}
}
