package packet

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"route/internal/plan"
)

// program finds an independent program or skips the test.
func program(t *testing.T, name, pack string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("%s is not installed (Debian package %s)", name, pack)
	}
	return path
}

// invented is a small plan of made-up figures that are consistent in
// themselves: 60 m of supply pipe, 20 m of drive pipe and a delivery pipe that
// winds up a slope.
func invented(units string, deliveryM float64) *plan.Plan {
	const lon0, lat0 = -150.25, 0.0123
	vertex := func(e, n, along, ground, invert float64) plan.Vertex {
		return plan.Vertex{Lon: plan.Degrees(lon0 + e/111319.5), Lat: plan.Degrees(lat0 + n/110574), EastingM: plan.Number(583000 + e), NorthM: plan.Number(1360 + n),
			AlongM: plan.Number(along), StationM: plan.Unknown, GroundM: plan.Number(ground), InvertM: plan.Number(invert), GradeM: plan.Number(invert + 1)}
	}
	l := plan.Layout{ID: "A", Rank: 1, DriveHeadM: 2.5, DeliveredLDay: 1500, DeliveredLDayLow: 1200, DeliveredLDayHigh: 1800, DeliveredLDayCorrected: plan.Unknown,
		DeliveredLMin: 1.04, DriveFlowLMin: 60, BeatsPerMin: 60, ChanceWorks: 0.9, ShutoffHeadM: 160,
		Starting: plan.Starting{FillS: 80, StrokesLow: 2, StrokesHigh: 30, FirstWaterS: 900}, StuckOpen: plan.StuckOpen{LevelM: plan.Unknown, FlowLMin: plan.Unknown}}
	l.Supply = &plan.Supply{}
	for k := range 31 {
		x := 2 * float64(k)
		l.Supply.Path = append(l.Supply.Path, vertex(x, 6*math.Sin(x/12), x, 100-x/30, 99.8-x/30))
	}
	e, n := 60.0, 6*math.Sin(5)
	for k := range 5 {
		x := 5 * float64(k)
		l.Drive.Path = append(l.Drive.Path, vertex(e+x, n, x, 98-x/10, 97.8-x/12))
	}
	e += 20
	for along := 0.0; along <= deliveryM; along += 4 {
		l.Delivery.Path = append(l.Delivery.Path, vertex(e, n, along, 96.2+along/8, 96.1+along/8))
		e, n = e+4*math.Cos(math.Sin(along/40)), n+4*math.Sin(math.Sin(along/40))
	}
	for _, run := range []*plan.PipeRun{&l.Supply.PipeRun, &l.Drive.PipeRun, &l.Delivery.PipeRun} {
		run.Material, run.Size, run.LengthM = "PE SIDR 15", "1-1/2 in", run.Path[len(run.Path)-1].AlongM
	}
	at := func(v plan.Vertex) plan.Place {
		return plan.Place{StationM: plan.Unknown, Lon: v.Lon, Lat: v.Lat, EastingM: v.EastingM, NorthM: v.NorthM, GroundM: v.GroundM}
	}
	end := l.Delivery.Path[len(l.Delivery.Path)-1]
	l.Intake = plan.Intake{Place: at(l.Supply.Path[0]), WaterM: 100, ScreenAreaM2: 0.02, SubmergenceM: 0.1}
	l.Standpipe = &plan.Standpipe{Place: at(l.Drive.Path[0]), HeightM: 2.4, StaticLevelM: 100, RunningLevelM: 99.6, Size: "4 in", RippleM: 0.01, SurgeM: 0.3}
	l.Pump = plan.Pump{Place: at(l.Delivery.Path[0]), OutletM: 96.1, Count: 1, Model: "ram, 1 in", ThrustN: 1100}
	l.Tank = plan.Tank{Place: at(end), InletM: end.InvertM}
	l.Delivery.LiftM, l.Delivery.CrestM = end.InvertM-96.1, end.GroundM
	stake := func(label, role string, v plan.Vertex, along float64, check string) {
		s := plan.Stake{Label: label, Role: role, Place: at(v), AlongM: plan.Number(along), InvertM: v.InvertM, FallIntakeM: 100 - v.InvertM, FallLastM: plan.Unknown,
			CutM: v.GroundM - v.InvertM, GridE: v.EastingM, GridN: v.NorthM, Do: "something to do at " + label}
		if len(l.Stakes) > 0 {
			s.FallLastM = l.Stakes[len(l.Stakes)-1].InvertM - v.InvertM
		}
		if check != "" {
			s.Check = &plan.StakeCheck{Text: check}
		}
		l.Stakes = append(l.Stakes, s)
	}
	stake("INTAKE", "intake", l.Supply.Path[0], 0, "")
	stake("S1", "supply", l.Supply.Path[10], 20, "")
	stake("STANDPIPE", "standpipe", l.Drive.Path[0], 60, "")
	stake("PUMP", "pump", l.Delivery.Path[0], 80, "waste valve outlet 2.50 m below the mark")
	for k := 5; k < len(l.Delivery.Path)-1; k += 5 {
		stake(fmt.Sprintf("L%d", k/5), "delivery", l.Delivery.Path[k], 80+float64(l.Delivery.Path[k].AlongM), "")
	}
	stake("TANK", "tank", end, 80+float64(end.AlongM), "")
	l.Takeoff = []plan.TakeoffLine{
		{Item: "pe", Name: "PE SIDR 15 1-1/2 in, 100 ft coil", Group: "supply", Where: "intake to standpipe", Need: 60, NeedUnit: "m", Packs: 3, Unit: "coil", Kind: "pipe", PackM: 30.48, Price: "120.00", Amount: "360.00"},
		{Item: "ram", Name: "ram, 1 in", Group: "other", Where: "pump site", Need: 1, NeedUnit: "each", Packs: 1, Unit: "each", Kind: "pump", PackM: plan.Unknown, Price: "300.00", Amount: "300.00"},
		{Name: "contingency", Group: "other", Where: "for what was forgotten", Need: 1, NeedUnit: "each", Packs: 1, Unit: "sum", PackM: plan.Unknown, Price: "66.00", Amount: "66.00"},
	}
	enough := false
	l.PipeChoices = []plan.PipeChoice{{Run: "supply", Item: "pe", Material: "PE SIDR 19", Size: "1-1/2 in", RatingM: 40, Enough: &enough, LossM: 0.4, Total: "700.00", More: "-26.00"}}
	l.Labour = []plan.LabourLine{{Task: "supply pipe, in the bed", Quantity: 60, Unit: "m", PerUnit: 0.12, Hours: 7.2}, {Task: "trench", Quantity: 3, Unit: "m3", PerUnit: 1.7, Hours: 5.1}, {Task: "pump on its base", Quantity: 1, Unit: "each", PerUnit: 8, Hours: 8}}
	l.LabourHours = 20.3
	l.Cost = plan.Cost{Currency: "USD", Supply: "360.00", Drive: "0.00", Delivery: "0.00", Other: "366.00", Total: "726.00"}
	p := &plan.Plan{Format: plan.Format, Site: "Fernhollow", Units: units, Demand: 1000, Take: 2, LowFlow: 8, Layouts: []plan.Layout{l}, Catalog: "prices.csv",
		Frame:    plan.Frame{UTM: "EPSG:32606", Grid: "EPSG:32606", GridName: "UTM zone 6N (EPSG:32606)", GridUnit: "metre", GridUnitM: 1},
		Messages: []plan.Message{{Level: "warning", Code: "x", Text: "the creek runs under a bridge", Hint: "measure there", StationM: 12}}}
	for k := range 60 {
		x := 2 * float64(k)
		v := vertex(x, 6*math.Sin(x/12), x, 0, 0)
		p.Creek.Stations = append(p.Creek.Stations, plan.CreekStation{StationM: plan.Number(x), Lon: v.Lon, Lat: v.Lat, ZM: plan.Number(100 - x/30)})
	}
	return p
}

func printed(t *testing.T, p *plan.Plan, o Options) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, p, o); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func inFile(t *testing.T, content []byte) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), File)
	if err := os.WriteFile(file, content, 0o666); err != nil {
		t.Fatal(err)
	}
	return file
}

// plans that are odd in one way each.
func odd() map[string]*plan.Plan {
	bare := invented("si", 120)
	bare.Layouts[0].Supply, bare.Layouts[0].Standpipe, bare.Layouts[0].Takeoff = nil, nil, nil
	bare.ScreeningOnly = true
	bare.Layouts[0].Starting = plan.Starting{FillS: plan.Unknown, StrokesLow: plan.Unknown, StrokesHigh: plan.Unknown, FirstWaterS: plan.Unknown}
	none := invented("us", 120)
	none.Layouts = nil
	none.Messages = append(none.Messages, plan.Message{Level: "error", Code: "no_feasible_layout", Text: "2.5 m of head within reach", Hint: "a higher standpipe would do"})
	return map[string]*plan.Plan{"us": invented("us", 300), "si": invented("si", 120), "bare": bare, "none": none, "long": invented("si", 2600)}
}

// qpdf finds nothing wrong, and the file is PDF 1.7; every font is in it;
// pages are of the paper asked for.
func TestPacketIsSoundPDF(t *testing.T) {
	qpdf, pdffonts, pdfinfo := program(t, "qpdf", "qpdf"), program(t, "pdffonts", "poppler-utils"), program(t, "pdfinfo", "poppler-utils")
	for name, p := range odd() {
		for paper, size := range map[Paper]string{A4: "595.28 x 841.89 pts (A4)", Letter: "612 x 792 pts (letter)"} {
			file := inFile(t, printed(t, p, Options{Paper: paper}))
			if text, err := exec.Command(qpdf, "--check", file).CombinedOutput(); err != nil || !bytes.Contains(text, []byte("PDF Version: 1.7")) || !bytes.Contains(text, []byte("No syntax or stream encoding errors")) {
				t.Errorf("%s on %s: %v\n%s", name, paper, err, text)
			}
			text, err := exec.Command(pdffonts, file).Output()
			if err != nil {
				t.Fatal(err)
			}
			lines := strings.Split(strings.TrimSpace(string(text)), "\n")
			if len(lines) < 3 {
				t.Errorf("%s on %s: fonts\n%s", name, paper, text)
			}
			for _, line := range lines[2:] {
				fields := strings.Fields(line)
				if emb := fields[len(fields)-5]; emb != "yes" {
					t.Errorf("%s on %s: a font is not in the file: %s", name, paper, line)
				}
			}
			if text, err := exec.Command(pdfinfo, file).Output(); err != nil || !bytes.Contains(text, []byte(size)) {
				t.Errorf("%s on %s: %v\n%s", name, paper, err, text)
			}
		}
	}
}

// saysAll looks for words on the pages, as pdftotext reads them.
func saysAll(t *testing.T, content []byte, words ...string) {
	t.Helper()
	pdftotext := program(t, "pdftotext", "poppler-utils")
	text, err := exec.Command(pdftotext, "-layout", inFile(t, content), "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	flat := strings.Join(strings.Fields(string(text)), " ")
	for _, w := range words {
		if !strings.Contains(flat, strings.Join(strings.Fields(w), " ")) {
			t.Errorf("no page says %q", w)
		}
	}
}

// The pages say what a crew needs: every stake with its coordinates, what to
// buy, the steps, the readings and the cautions.
func TestPacketSaysWhatTheCrewNeeds(t *testing.T) {
	p := invented("si", 300)
	l := &p.Layouts[0]
	words := []string{"Fernhollow, layout A", "UTM zone 6N (EPSG:32606)", "0.012300°, -150.250000°", "Check: waste valve outlet 2.50 m below the mark", "3 coils",
		"PE SIDR 15 1-1/2 in, 100 ft coil", "726.00", "contingency", "Not in this list: the tank", "PE SIDR 19 1-1/2 in", "-26.00", "about 25 hours of one person", "pump on its base", "Gauge, running", "60 beats a minute", "Right to the water", "licensed engineer", "The creek runs under a bridge", "Level the fall", "page 1 of"}
	for _, s := range l.Stakes {
		words = append(words, s.Label, s.Do, fmt.Sprintf("%.1f", float64(s.GridE)), fmt.Sprintf("%.1f", float64(s.GridN)))
	}
	saysAll(t, printed(t, p, Options{}), words...)
	saysAll(t, printed(t, odd()["bare"], Options{}), "For screening only", "too uncertain to buy by")
	saysAll(t, printed(t, odd()["none"], Options{}), "2.5 m of head within reach.", "A higher standpipe would do.")
}

// zbarimg, a reader of bar codes, finds the place of the first stake as a geo
// URI (RFC 5870).
func TestTheCodeLeadsToTheStart(t *testing.T) {
	pdftoppm, zbarimg := program(t, "pdftoppm", "poppler-utils"), program(t, "zbarimg", "zbar-tools")
	p := invented("us", 120)
	base := filepath.Join(t.TempDir(), "page")
	if text, err := exec.Command(pdftoppm, "-r", "150", "-f", "1", "-l", "1", "-singlefile", "-png", inFile(t, printed(t, p, Options{})), base).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	text, err := exec.Command(zbarimg, "--quiet", "--raw", base+".png").Output()
	if err != nil {
		t.Fatalf("no code is read: %v", err)
	}
	if got := strings.TrimSpace(string(text)); got != "geo:0.0123000,-150.2500000" {
		t.Errorf("the code says %q", got)
	}
}

func TestTheSamePlanGivesTheSamePacket(t *testing.T) {
	if a, b := printed(t, invented("us", 300), Options{}), printed(t, invented("us", 300), Options{}); !bytes.Equal(a, b) {
		t.Errorf("two packets of one plan differ: %d and %d bytes", len(a), len(b))
	}
}

// The strips follow one another over the whole line, none across the pump, and
// each fits into its window at its scale.
func TestStripsCoverTheLine(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	for range 40 {
		units := []string{"us", "si"}[random.IntN(2)]
		p := invented(units, 20+math.Exp(8*random.Float64()))
		s := newSheet(p, &p.Layouts[0], []Paper{A4, Letter}[random.IntN(2)])
		pipe, pumpAt := s.chain()
		scale, cut := s.cutStrips(pipe, pumpAt)
		at := 0.0
		for _, c := range cut {
			if math.Abs(c.from-at) > 1e-9 || c.to <= c.from || c.from < pumpAt-1e-9 && c.to > pumpAt+1e-9 {
				t.Fatalf("strip %+v after %v; the pump is at %v", c, at, pumpAt)
			}
			at = c.to
			v := view{box: box{margin, 30, s.inner(), stripPlanMM}, mmPerM: 1000 / scale}
			part := between(pipe, c.from, c.to)
			first, last := s.ground(part[0].Lon, part[0].Lat), s.ground(part[len(part)-1].Lon, part[len(part)-1].Lat)
			v.cos, v.sin = direction(first, last)
			v.middle = s.middleOf(part, v.cos, v.sin)
			if scale >= 10000 {
				continue // the coarsest, whatever the length
			}
			for _, q := range part {
				if spot := v.at(s.ground(q.Lon, q.Lat)); !v.holds(spot, -1) {
					t.Fatalf("at 1 to %v a point of strip %+v lies at %+v, outside %+v", scale, c, spot, v.box)
				}
			}
		}
		if math.Abs(at-pipe[len(pipe)-1].along) > 1e-9 {
			t.Fatalf("the strips end at %v of %v", at, pipe[len(pipe)-1].along)
		}
	}
}

// A view keeps lengths: 1 to 500 puts 10 m on 20 mm, however it is turned.
func TestViewsAreToScale(t *testing.T) {
	for _, turn := range []float64{0, 0.7, 2, -1.3} {
		v := view{box: box{10, 20, 180, 60}, middle: point{300, 400}, mmPerM: 1000.0 / 500, cos: math.Cos(turn), sin: math.Sin(turn)}
		a, b := v.at(point{300, 400}), v.at(point{300 + 10*math.Cos(turn), 400 + 10*math.Sin(turn)})
		if math.Abs(a.x-100) > 1e-9 || math.Abs(a.y-50) > 1e-9 || math.Abs(b.x-a.x-20) > 1e-9 || math.Abs(b.y-a.y) > 1e-9 {
			t.Errorf("turned by %v, 10 m lie from %+v to %+v", turn, a, b)
		}
	}
}

// hostile texts reach the pages as text or not at all; the file stays sound.
func TestHostileTextStaysText(t *testing.T) {
	qpdf := program(t, "qpdf", "qpdf")
	for _, text := range []string{"", ") Tj ET (", `\`, "a\x00b\x01", "\xff\xfe", "naïve 河 🌊", "\u202eevil", "{pages}", strings.Repeat("long", 200), strings.Repeat("long ", 200)} {
		checkSafe(t, qpdf, text)
	}
}

func FuzzAnyTextIsPrinted(f *testing.F) {
	f.Add(") Tj ET (")
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) < 1000 {
			checkSafe(t, "", text)
		}
	})
}

func checkSafe(t *testing.T, qpdf, text string) {
	t.Helper()
	p := invented("us", 60)
	l := &p.Layouts[0]
	p.Site, p.Catalog, p.Frame.GridName = text, text, text
	p.Messages[0].Text, p.Messages[0].Hint = text, text
	l.ID, l.Pump.Model, l.Cost.Currency, l.Drive.Material, l.Standpipe.Size = text, text, text, text, text
	for i := range l.Stakes {
		l.Stakes[i].Label, l.Stakes[i].Do = text, text
		l.Stakes[i].Check = &plan.StakeCheck{Text: text}
	}
	for i := range l.Takeoff {
		l.Takeoff[i].Name, l.Takeoff[i].Where, l.Takeoff[i].Unit = text, text, text
	}
	content := printed(t, p, Options{})
	if qpdf != "" {
		if said, err := exec.Command(qpdf, "--check", inFile(t, content)).CombinedOutput(); err != nil {
			t.Errorf("%q: %v\n%s", text, err, said)
		}
	}
}

type failing struct{}

var errFull = errors.New("full")

func (failing) Write([]byte) (int, error) { return 0, errFull }

func TestWhatCannotBePrintedIsAnError(t *testing.T) {
	p := invented("us", 60)
	if err := Write(failing{}, p, Options{}); !errors.Is(err, errFull) {
		t.Errorf("a writer that fails: %v", err)
	}
	for _, o := range []Options{{Paper: "a5"}, {Layout: "Z"}} {
		if err := Write(&bytes.Buffer{}, p, o); err == nil {
			t.Errorf("%+v was printed", o)
		}
	}
	if Usual(p) != Letter || Usual(invented("si", 60)) != A4 {
		t.Error("the usual paper is the wrong one")
	}
}

func BenchmarkWrite(b *testing.B) {
	p := invented("us", 300)
	for b.Loop() {
		if err := Write(&bytes.Buffer{}, p, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
