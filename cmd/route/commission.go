package main

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"text/tabwriter"

	"route/internal/commission"
	"route/internal/finding"
	"route/internal/hydraulics"
	"route/internal/plan"
	"route/internal/quantity"
)

// commissionCommand is `route commission`.
type commissionCommand struct {
	Site     string `arg:"" name:"site" help:"The site file."`
	Readings string `arg:"" optional:"" name:"readings" help:"CSV of what was measured."`
	settingFlags
	Layout   string `help:"Layout that was built; the best when this is not given." placeholder:"LETTER"`
	Template string `help:"Write a readings file to fill in, with what the plan predicts beside." placeholder:"FILE"`
	Accept   bool   `help:"Keep the readings in the site file: the pump as measured and set, the drop to it, the lift, and its places. Only where no fault is found."`
}

// Help is shown below the flags.
func (commissionCommand) Help() string {
	return `Examples:
  route commission site.yaml --template readings.csv
  route commission site.yaml readings.csv
  route commission site.yaml readings.csv --accept

The readings file has the columns reading, value and, if you like, error (one standard deviation, or in %); other columns of the template are not read. Leave out what was not measured. Levels count from the waste valve outlet:
  reading,value,error
  pool level,9.9 ft,
  standpipe running,8.2 ft,0.5 in
  beats,62,
  waste flow,14.8 gpm,
  delivered,1.1 gpm,5 %
  gauge at rest,31 psi,

Every fault is simulated on the planned installation, with what is uncertain about it drawn to fit, and ranked by how likely it makes the readings. With --strict a fault exits with code 4.`
}

// commissionJSON is the JSON answer, in SI.
type commissionJSON struct {
	Layout     string          `json:"layout"`
	Fault      bool            `json:"fault"` // something is likely wrong
	Readings   []comparedJSON  `json:"readings"`
	Causes     []candidateJSON `json:"causes"`   // likeliest first
	Test       *testJSON       `json:"test"`     // that tells the likeliest apart; null where none does
	Accepted   []string        `json:"accepted"` // what was kept in the site file
	WorksCited []string        `json:"works_cited"`
}

type comparedJSON struct {
	Reading   string   `json:"reading"`
	Unit      string   `json:"unit"` // m, l_min, per_min; m of water of a gauge
	Value     *float64 `json:"value"`
	Sigma     *float64 `json:"sd"`
	Predicted float64  `json:"predicted"`
	Low       float64  `json:"low"` // 95 times in 100
	High      float64  `json:"high"`
	Off       *float64 `json:"off_sd"`
	Explained *float64 `json:"explained"` // by the likeliest cause
}

type candidateJSON struct {
	Cause     string   `json:"cause"`
	Text      string   `json:"text"`
	AlongM    *float64 `json:"along_m"` // of an air lock, from the pump
	Chance    float64  `json:"chance"`
	Extent    string   `json:"extent"`
	Cure      string   `json:"cure"`
	CuredLMin *float64 `json:"cured_l_min"`
}

type testJSON struct {
	Reading  string        `json:"reading"`
	Unit     string        `json:"unit"`
	How      string        `json:"how"`
	Given    bool          `json:"given"` // it was taken: take it again
	Outcomes []outcomeJSON `json:"outcomes"`
}

type outcomeJSON struct {
	Cause string  `json:"cause"`
	Text  string  `json:"text"`
	Value float64 `json:"value"`
}

// Run plans, and holds the readings against the plan.
func (c *commissionCommand) Run(s *session) error {
	if c.Site == "-" && c.Accept {
		return &usageError{text: "--accept needs a site file to write to"}
	}
	if (c.Readings == "") == (c.Template == "") {
		return &usageError{text: "give a readings file, or --template FILE to have one written", hint: "route commission SITE.yaml --template readings.csv"}
	}
	if c.Accept && c.Template != "" {
		return &usageError{text: "--accept belongs to a readings file"}
	}
	site, err := (&siteFlags{Site: c.Site, settingFlags: c.settingFlags}).load(s)
	if err != nil {
		return err
	}
	p, err := s.plan(site)
	if err != nil {
		return err
	}
	l, err := c.built(s, p)
	if err != nil {
		return err
	}
	m, err := commission.FromPlan(site, p, l)
	if err != nil {
		return explain(err, site.Units)
	}
	per := m.Fluid.Density * hydraulics.Gravity
	if c.Template != "" {
		return c.template(s, m, site.Units, per)
	}
	file, err := os.Open(c.Readings)
	if err != nil {
		return &finding.Fault{Code: "readings_unreadable", File: c.Readings, Text: err.Error(), Hint: "route commission SITE.yaml --template readings.csv writes one to fill in", Err: err}
	}
	defer file.Close()
	readings, err := commission.ReadReadings(c.Readings, file, per)
	if err != nil {
		return err
	}
	d, err := commission.Diagnose(m, readings)
	if err != nil {
		return explain(err, site.Units)
	}
	s.warned = d.Alarm
	var accepted *commission.Accepted
	if c.Accept {
		if accepted, err = c.accept(site, p, l, d, readings); err != nil {
			return err
		}
	}
	if s.json {
		return s.printJSON(commissionResult(l, d, accepted, site.Units))
	}
	return printCommission(s, p, l, d, accepted, site.Units, per)
}

// built is the layout that was built.
func (c *commissionCommand) built(s *session, p *plan.Plan) (*plan.Layout, error) {
	if len(p.Layouts) == 0 {
		fmt.Fprintln(s.stdout, "No layout is feasible: there is nothing to hold readings against. route plan says why.")
		return nil, &infeasibleError{text: "no layout is feasible"}
	}
	if c.Layout == "" {
		return &p.Layouts[0], nil
	}
	k := slices.IndexFunc(p.Layouts, func(l plan.Layout) bool { return l.ID == c.Layout })
	if k < 0 {
		return nil, &usageError{text: fmt.Sprintf("--layout %s: this plan has %s", c.Layout, layoutNames(p))}
	}
	return &p.Layouts[k], nil
}

func (c *commissionCommand) template(s *session, m commission.Model, sys quantity.System, per float64) error {
	predicted, err := commission.Predict(m)
	if err != nil {
		return explain(err, sys)
	}
	var b bytes.Buffer
	if err := commission.WriteTemplate(&b, predicted, sys, per); err != nil {
		return err
	}
	if _, err := os.Stat(c.Template); err == nil {
		return &finding.Fault{Code: "file_exists", File: c.Template, Text: "is there already; it may hold readings", Hint: "give another name"}
	}
	if err := replaceFile(c.Template, b.Bytes()); err != nil {
		return &finding.Fault{Code: "file_unwritable", File: c.Template, Text: err.Error(), Hint: "choose another file", Err: err}
	}
	if s.json {
		return s.printJSON(map[string]string{"template": c.Template})
	}
	_, err = fmt.Fprintf(s.stdout, "Readings to fill in: %s\n", c.Template)
	return err
}

// accept keeps readings in the site file.
func (c *commissionCommand) accept(site *plan.Site, p *plan.Plan, l *plan.Layout, d *commission.Diagnosis, readings []commission.Reading) (*commission.Accepted, error) {
	a, err := commission.Accept(site, p, l, d, readings)
	var fault *finding.Fault
	if errors.As(err, &fault) && fault.File == "" {
		fault.File = c.Readings
	}
	if err != nil {
		return nil, err
	}
	_, err = a.Save(c.Site)
	return a, err
}

func printCommission(s *session, p *plan.Plan, l *plan.Layout, d *commission.Diagnosis, a *commission.Accepted, sys quantity.System, per float64) error {
	text := func(k commission.Kind, v float64) string { return commission.Text(sys, k, v, per) }
	t := tabwriter.NewWriter(s.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "%s, layout %s\n\nreading\tmeasured\tplanned\t95 in 100\toff by\n", p.Site, l.ID)
	for _, x := range d.Compared {
		if !x.Measured {
			fmt.Fprintf(t, "%s\t–\t%s\t%s to %s\t\n", x.Kind, text(x.Kind, x.Predicted), text(x.Kind, x.Low), text(x.Kind, x.High))
			continue
		}
		mark := ""
		if math.Abs(x.Off) > 2 {
			mark = "  !"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s to %s\t%+.1f sd%s\n", x.Kind, text(x.Kind, x.Value), text(x.Kind, x.Predicted), text(x.Kind, x.Low), text(x.Kind, x.High), x.Off, mark)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(s.stdout, "“sd” says how far sound readings scatter: one in three is off by more than 1 sd, one in twenty by more than 2.")
	fmt.Fprintln(s.stdout)
	switch {
	case d.Alarm:
		fmt.Fprintln(s.stdout, "Something is wrong. Likeliest:", d.Candidates[0].Name(sys))
	case d.Candidates[0].Chance < wellSure:
		fmt.Fprintln(s.stdout, "The readings may be those of a sound installation, but they are not sure of it.")
	default:
		fmt.Fprintln(s.stdout, "No fault: the readings agree with the plan as well as both are known.")
	}
	fmt.Fprintln(s.stdout)
	for k := range d.Candidates {
		c := &d.Candidates[k]
		if c.Chance < commission.LeastNamed {
			continue
		}
		fmt.Fprintf(s.stdout, "%3.0f %%  %s\n", 100*c.Chance, c.Name(sys))
		if c.Cause == commission.Nothing {
			continue
		}
		fmt.Fprintf(s.stdout, "       %s; put right, %s would reach the tank\n       to do: %s\n", c.Extent(sys), quantity.Format(sys, quantity.Flow, c.Cured), c.Cure())
	}
	if x := d.Test; x != nil {
		verb := "read"
		if x.Given {
			verb = "read again, with care,"
		}
		fmt.Fprintf(s.stdout, "\nThe test that tells: %s the %s (%s). Expect\n", verb, x.Kind, commission.How(x.Kind))
		for _, o := range x.Outcomes {
			fmt.Fprintf(t, "  %s\t%s\n", text(x.Kind, o.Value), o.Candidate.Name(sys))
		}
		if err := t.Flush(); err != nil {
			return err
		}
	}
	if a == nil {
		return nil
	}
	fmt.Fprintln(s.stdout, "\nKept in the site file:")
	for _, line := range a.Says {
		fmt.Fprintln(s.stdout, "  "+line)
	}
	return nil
}

// wellSure is the chance of nothing wrong above which that is said plainly.
const wellSure = 0.8

func commissionResult(l *plan.Layout, d *commission.Diagnosis, a *commission.Accepted, sys quantity.System) *commissionJSON {
	some := func(v float64) *float64 {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil
		}
		return &v
	}
	r := &commissionJSON{Layout: l.ID, Fault: d.Alarm, Accepted: []string{}, WorksCited: commission.WorksCited()}
	for _, x := range d.Compared {
		unit, scale := commission.JSONUnit(x.Kind)
		j := comparedJSON{Reading: string(x.Kind), Unit: unit, Predicted: x.Predicted * scale, Low: x.Low * scale, High: x.High * scale, Explained: some(x.Explained * scale)}
		if x.Measured {
			j.Value, j.Sigma, j.Off = some(x.Value*scale), some(x.Sigma*scale), some(x.Off)
		}
		r.Readings = append(r.Readings, j)
	}
	for k := range d.Candidates {
		c := &d.Candidates[k]
		j := candidateJSON{Cause: string(c.Cause), Text: c.Name(sys), Chance: c.Chance, Extent: c.Extent(sys), Cure: c.Cure(), CuredLMin: some(c.Cured * 60e3)}
		if c.Place != nil {
			j.AlongM = &c.Place.AlongM
		}
		r.Causes = append(r.Causes, j)
	}
	if x := d.Test; x != nil {
		unit, scale := commission.JSONUnit(x.Kind)
		r.Test = &testJSON{Reading: string(x.Kind), Unit: unit, How: commission.How(x.Kind), Given: x.Given}
		for _, o := range x.Outcomes {
			r.Test.Outcomes = append(r.Test.Outcomes, outcomeJSON{string(o.Candidate.Cause), o.Candidate.Name(sys), o.Value * scale})
		}
	}
	if a != nil {
		r.Accepted = a.Says
	}
	return r
}
