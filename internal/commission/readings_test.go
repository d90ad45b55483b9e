package commission

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"

	"route/internal/finding"
	"route/internal/quantity"
)

// waterPerM is a metre of water at 4 °C in Pa.
const waterPerM = 1000 * 9.80665

func TestReadReadings(t *testing.T) {
	text := "\ufeff# at the pump\nreading,value,error,predicted\nStandpipe running,\"8 ft 3 in\",1 cm,x\ndelivered,2 L/min,5 %,\nbeats,62,,\ngauge at rest,1 bar,0.1 bar,\ngauge running,12 m of head,,\nopen flow,,,\n"
	list, err := ReadReadings("r.csv", strings.NewReader(text), waterPerM)
	if err != nil {
		t.Fatal(err)
	}
	want := []Reading{ // a foot is 0.3048 m; a bar is 100000/9806.65 = 10.1972 m of water
		{StandpipeRuns, 8.25 * 0.3048, 0.01, 3}, {Delivered, 2e-3 / 60, 0.1e-3 / 60, 4}, {Beats, 62, 0, 5},
		{GaugeRest, 10.19716, 1.019716, 6}, {GaugeRuns, 12, 0, 7},
	}
	if len(list) != len(want) {
		t.Fatalf("%d readings, want %d: %v", len(list), len(want), list)
	}
	for k, w := range want {
		g := list[k]
		if g.Kind != w.Kind || g.Line != w.Line || math.Abs(g.Value-w.Value) > 1e-5*w.Value || math.Abs(g.Sigma-w.Sigma) > 1e-5*w.Sigma {
			t.Errorf("%v, want %v", g, w)
		}
	}
	if _, err := ReadReadings("r.csv", strings.NewReader("reading;value\nbeats;60\n"), waterPerM); err != nil {
		t.Errorf("semicolons: %v", err)
	}
}

func TestReadReadingsFaults(t *testing.T) {
	for _, c := range []struct {
		text string
		line int
		says string
	}{
		{"", 0, "empty"},
		{"reading,value\n", 0, "no readings"},
		{"reading,value\nbeats,\n", 0, "no readings"},
		{"value\n60\n", 1, `no column "reading"`},
		{"reading,value,colour\nbeats,60,red\n", 1, "colour"},
		{"reading,value,value\nbeats,60,61\n", 1, "each once"},
		{"reading,value\nbeets,60\n", 2, "no reading"},
		{"reading,value\n\n# note\nbeats,60\nbeats,61\n", 5, "line 4"},
		{"reading,value\ndelivered,3\n", 2, "value"},
		{"reading,value\ndelivered,3 m\n", 2, "value"},
		{"reading,value\nbeats,NaN\n", 2, "not a number"},
		{"reading,value\npool level,-1 m\n", 2, "not possible"},
		{"reading,value,error\nbeats,60,0\n", 2, "more than zero"},
		{"reading,value,error\nbeats,60,-1\n", 2, "more than zero"},
		{"reading,value\nbeats,60,,extra\n", 2, "fields"},
		{"reading,value\n\"beats,60\n", 2, ""},
		{"reading,value\nbeats,\xff\n", 0, "UTF-8"},
	} {
		_, err := ReadReadings("r.csv", strings.NewReader(c.text), waterPerM)
		var f *finding.Fault
		if !errors.As(err, &f) {
			t.Errorf("%q: %v is no fault", c.text, err)
			continue
		}
		if f.File != "r.csv" || c.line > 0 && f.Line != c.line || !strings.Contains(f.Text, c.says) {
			t.Errorf("%q: line %d: %s; want line %d and %q", c.text, f.Line, f.Text, c.line, c.says)
		}
	}
}

// A template with its own predictions written in as values reads as those.
func TestTemplateReadsBack(t *testing.T) {
	for _, s := range []quantity.System{quantity.SI, quantity.US} {
		var list []Compared
		for i := range kinds {
			list = append(list, Compared{Reading: Reading{Kind: infos[i].kind}, Predicted: 1234.5, Low: 1000, High: 2000})
		}
		var b bytes.Buffer
		if err := WriteTemplate(&b, list, s, waterPerM); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadReadings("t.csv", bytes.NewReader(b.Bytes()), waterPerM); err == nil || !strings.Contains(err.Error(), "no readings") {
			t.Errorf("%v: an empty template: %v", s, err)
		}
		filled := strings.Replace(b.String(), "reading,value,error,predicted", "reading,error,how,value", 1)
		filled = strings.Replace(filled, ",low,high,how", ",low,high,predicted", 1)
		got, err := ReadReadings("t.csv", strings.NewReader(filled), waterPerM)
		if err != nil {
			t.Fatal(err)
		}
		if len(got) != int(kinds) {
			t.Fatalf("%v: %d of %d read back", s, len(got), kinds)
		}
		for _, r := range got {
			if math.Abs(r.Value/1234.5-1) > 0.01 {
				t.Errorf("%v: %s reads back as %g", s, r.Kind, r.Value)
			}
		}
	}
}

func FuzzReadReadings(f *testing.F) {
	f.Add([]byte("reading,value,error\nbeats,60,\ndelivered,3 L/min,5 %\n"))
	f.Add([]byte("reading;value\ngauge at rest;31 psi\n"))
	f.Add([]byte("\ufeff#x\nreading,value\n\"pool level\",\"8 ft 3 in\"\n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		list, err := ReadReadings("f.csv", bytes.NewReader(content), waterPerM)
		if err != nil {
			var fault *finding.Fault
			if !errors.As(err, &fault) || fault.File != "f.csv" {
				t.Fatalf("%v is no fault of the file", err)
			}
			return
		}
		seen := map[Kind]bool{}
		for _, r := range list {
			if seen[r.Kind] || math.IsNaN(r.Value) || math.IsInf(r.Value, 0) || r.Sigma < 0 || math.IsNaN(r.Sigma) || r.Line < 2 {
				t.Fatalf("took %v", r)
			}
			seen[r.Kind] = true
		}
	})
}

// Stakes are marked by hundreds of feet or by kilometres: 212 m is 695.5 ft.
func TestStation(t *testing.T) {
	if got := station(quantity.SI, 212.3); got != "0+212" {
		t.Error(got)
	}
	if got := station(quantity.US, 212); got != "6+96" {
		t.Error(got)
	}
}
