package survey

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"route/internal/finding"
)

// counts is what an independent reading of a GPX file finds.
type counts struct {
	trk, rte, wpt, trkpt, rtept, ele int
	sumLat                           float64
}

// tokens counts with encoding/xml, by the paths that the GPX 1.0 and 1.1
// schemas give, knowing nothing of the reader under test.
func tokens(t *testing.T, raw []byte) counts {
	t.Helper()
	var c counts
	d := xml.NewDecoder(bytes.NewReader(bytes.TrimPrefix(raw, []byte("\xef\xbb\xbf"))))
	d.CharsetReader = func(_ string, in io.Reader) (io.Reader, error) { return in, nil } // one such file, plain ASCII in fact
	var path []string
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return c
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := tok.(type) {
		case xml.StartElement:
			path = append(path, e.Name.Local)
			switch strings.Join(path, "/") {
			case "gpx/trk":
				c.trk++
			case "gpx/rte":
				c.rte++
			case "gpx/wpt":
				c.wpt++
				c.add(e)
			case "gpx/trk/trkseg/trkpt":
				c.trkpt++
				c.add(e)
			case "gpx/rte/rtept":
				c.rtept++
				c.add(e)
			case "gpx/wpt/ele", "gpx/trk/trkseg/trkpt/ele", "gpx/rte/rtept/ele":
				c.ele++
			}
		case xml.EndElement:
			path = path[:len(path)-1]
		}
	}
}

func (c *counts) add(e xml.StartElement) {
	for _, a := range e.Attr {
		if a.Name.Local == "lat" {
			v, _ := strconv.ParseFloat(a.Value, 64)
			c.sumLat += v
		}
	}
}

func countsOf(f *Field) counts {
	var c counts
	add := func(p Fix) {
		c.sumLat += p.Lat
		if !math.IsNaN(p.EleM) {
			c.ele++
		}
	}
	for _, w := range f.Waypoints {
		c.wpt++
		add(w)
	}
	for _, t := range f.Tracks {
		if t.Route {
			c.rte++
			c.rtept += t.Fixes()
		} else {
			c.trk++
			c.trkpt += t.Fixes()
		}
		for _, leg := range t.Legs {
			for _, p := range leg {
				add(p)
			}
		}
	}
	return c
}

// TestDeviceFiles reads files written by real receivers and programs. The
// counts come from encoding/xml tokens and, where it is installed, xmllint.
func TestDeviceFiles(t *testing.T) {
	root := os.Getenv("ROUTE_TERRAIN")
	if root == "" {
		t.Skip("ROUTE_TERRAIN is not set: no device files")
	}
	files, _ := filepath.Glob(filepath.Join(root, "gpx", "*", "*.gpx"))
	if len(files) != 28 {
		t.Fatalf("%d files, want the 28 of the collection", len(files))
	}
	refused := map[string]string{"igc1_baro.gpx": "no_position"}
	noTrack := map[string]bool{"gpx1.1_with_extensions.gpx": true, "unicode_with_bom.gpx": true}
	for _, path := range files {
		name := filepath.Base(path)
		t.Run(name, func(t *testing.T) {
			raw, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			f, err := ReadGPX(name, bytes.NewReader(raw))
			if code := refused[name]; code != "" {
				if got := codeOf(err); got != code {
					t.Fatalf("refused with %q (%v), want %q", got, err, code)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			got, want := countsOf(f), tokens(t, raw)
			if math.Abs(got.sumLat-want.sumLat) > 1e-9*math.Abs(want.sumLat) {
				t.Errorf("latitudes add up to %v, tokens say %v", got.sumLat, want.sumLat)
			}
			got.sumLat, want.sumLat = 0, 0
			if got != want {
				t.Errorf("read %+v, tokens say %+v", got, want)
			}
			for xpath, n := range map[string]int{"trkpt": got.trkpt, "rtept": got.rtept, "wpt": got.wpt} {
				if said, ok := xmllintCount(t, path, xpath); ok && said != n {
					t.Errorf("%d %s, xmllint says %d", n, xpath, said)
				}
			}
			_, _, err = f.Choose("")
			if noTrack[name] != (codeOf(err) == "no_track") {
				t.Errorf("choosing a track: %v", err)
			}
		})
	}
}

func xmllintCount(t *testing.T, path, element string) (int, bool) {
	tool, err := exec.LookPath("xmllint")
	if err != nil {
		return 0, false
	}
	out, err := exec.Command(tool, "--xpath", "count(//*[local-name()='"+element+"'])", path).Output()
	if err != nil {
		t.Fatalf("xmllint: %v", err)
	}
	n, err := strconv.Atoi(strings.TrimSpace(string(out)))
	if err != nil {
		t.Fatal(err)
	}
	return n, true
}

func codeOf(err error) string {
	var f *finding.Fault
	if errors.As(err, &f) {
		return f.Code
	}
	return ""
}

const head = "<?xml version=\"1.0\"?>\n<gpx version=\"1.1\" creator=\"c\" xmlns=\"http://www.topografix.com/GPX/1/1\">\n"

// track wraps lines of points; the first of them is line 4.
func track(points string) string {
	return head + "<trk><name>a</name><trkseg>\n" + points + "\n</trkseg></trk></gpx>\n"
}

// TestFaultsNameTheLine: each fault of a fix is refused with its line. The
// library itself reads most of these as latitude 0 or takes them as they are
// (measured on gpxgo v1.4.0).
func TestFaultsNameTheLine(t *testing.T) {
	good := `<trkpt lat="1" lon="2"></trkpt>`
	for _, c := range []struct {
		name, text, code string
		line             int
		says             string
	}{
		{"no lat", track(good + "\n" + `<trkpt lon="2"/>`), "fix_incomplete", 5, "latitude"},
		{"no lon", track(good + "\n\n" + `<trkpt lat="2"/>`), "fix_incomplete", 6, "longitude"},
		{"empty lat", track(`<trkpt lat="" lon="2"/>`), "fix_incomplete", 4, "latitude"},
		{"lat of another namespace", track(`<trkpt x:lat="1" xmlns:x="u" lon="2"/>`), "fix_incomplete", 4, "latitude"},
		{"lat 145", track(good + "\n" + `<trkpt lat="145" lon="2"/>`), "fix_out_of_range", 5, "145"},
		{"lon 400", track(`<trkpt lat="1" lon="400"/>`), "fix_out_of_range", 4, "400"},
		{"word", track(`<trkpt lat="north" lon="2"/>`), "fix_not_a_number", 4, "north"},
		{"comma", track(`<trkpt lat="46,5" lon="2"/>`), "fix_not_a_number", 4, "46,5"},
		{"NaN", track(`<trkpt lat="NaN" lon="2"/>`), "fix_not_a_number", 4, "NaN"},
		{"infinite", track(`<trkpt lat="1" lon="-Inf"/>`), "fix_not_a_number", 4, "-Inf"},
		{"waypoint", head + `<wpt lat="95" lon="2"/></gpx>`, "fix_out_of_range", 3, "waypoint"},
		{"route point", head + "<rte>\n<rtept lat=\"5\"/></rte></gpx>", "fix_incomplete", 4, "route point"},
		{"cut off", strings.TrimSuffix(track(good+"\n"+good), "\n</trkseg></trk></gpx>\n"), "gpx_cut_off", 5, "after 2 points"},
		{"cut off in a tag", track(good)[:len(head)+40], "gpx_cut_off", 4, "after 0 points"},
		{"bad nesting", head + "<trk>\n</gpx>", "gpx_not_xml", 4, "trk"},
		{"not XML", "lat,lon\n1,2\n", "gpx_empty", 0, "no GPX"},
		{"empty", "", "gpx_empty", 0, "no GPX"},
		{"KML", "<?xml version=\"1.0\"?>\n<kml xmlns=\"k\"></kml>", "not_gpx", 2, "<kml>"},
		{"web page", "<html><body>log in</body></html>", "not_gpx", 1, "<html>"},
		{"no position at all", track(`<trkpt lat="0" lon="0"/>` + "\n" + `<trkpt lat="0.0" lon="-0"/>`), "no_position", 4, "all 2 points"},
		{"not UTF-8", strings.Replace(track(good), "<name>a", "<name>\xff", 1), "gpx_not_xml", 3, "UTF-8"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ReadGPX("creek.gpx", strings.NewReader(c.text))
			var f *finding.Fault
			if !errors.As(err, &f) {
				t.Fatalf("no fault but %v", err)
			}
			if f.Code != c.code || f.Line != c.line || f.File != "creek.gpx" || !strings.Contains(f.Text, c.says) || f.Hint == "" {
				t.Errorf("got %s at line %d: %q (%q); want %s at line %d with %q", f.Code, f.Line, f.Text, f.Hint, c.code, c.line, c.says)
			}
		})
	}
}

// TestOddHeights: one odd height never costs the file.
func TestOddHeights(t *testing.T) {
	for _, c := range []struct {
		ele  string
		want float64
		code string
	}{
		{"<ele>12.5</ele>", 12.5, ""},
		{"<ele>\n 12.5\n</ele>", 12.5, ""},
		{"<ele><![CDATA[12.5]]></ele>", 12.5, ""},
		{"<ele>1&#50;.5</ele>", 12.5, ""},
		{"<ele>12<!-- m -->.5</ele>", 12.5, ""},
		{"<ele>12,5</ele>", 12.5, "ele_comma"},
		{"<ele>-4.2E1</ele>", -42, ""},
		{"<ele>abc</ele>", math.NaN(), "ele_unreadable"},
		{"<ele>1,234,5</ele>", math.NaN(), "ele_unreadable"},
		{"<ele>NaN</ele>", math.NaN(), "ele_unreadable"},
		{"<ele>1e999</ele>", math.NaN(), "ele_unreadable"},
		{"<ele>12.5 m</ele>", math.NaN(), "ele_unreadable"},
		{"<ele></ele>", math.NaN(), ""},
		{"<ele/>", math.NaN(), ""},
		{"", math.NaN(), ""},
	} {
		f, err := ReadGPX("c", strings.NewReader(track(`<trkpt lat="1" lon="2">`+c.ele+`</trkpt><trkpt lat="1" lon="3"><ele>7</ele></trkpt>`)))
		if err != nil {
			t.Errorf("%q: %v", c.ele, err)
			continue
		}
		leg := f.Tracks[0].Legs[0]
		if got := leg[0].EleM; got != c.want && !(math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("%q gives %v, want %v", c.ele, got, c.want)
		}
		if leg[1].EleM != 7 {
			t.Errorf("%q spoils the next height: %v", c.ele, leg[1].EleM)
		}
		code := ""
		for _, x := range f.Findings {
			code = x.Code
			if x.Line != 4 {
				t.Errorf("%q: finding at line %d, want 4", c.ele, x.Line)
			}
		}
		if code != c.code {
			t.Errorf("%q: finding %q, want %q", c.ele, code, c.code)
		}
	}
}

// TestEncodings: the same track in each encoding and layout that devices
// write.
func TestEncodings(t *testing.T) {
	plain := "<gpx version=\"1.0\"><trk><name>Bäche</name><trkseg><trkpt lat=\"46.5\" lon=\"15.25\"><hdop>2.5</hdop><time>2024-05-01T10:00:00.5+02:00</time></trkpt></trkseg></trk></gpx>"
	wide := func(order func(uint16) []byte, bom string) string {
		out := []byte(bom)
		for _, u := range utf16.Encode([]rune(`<?xml version="1.0" encoding="UTF-16"?>` + plain)) {
			out = append(out, order(u)...)
		}
		return string(out)
	}
	for name, text := range map[string]string{
		"plain":        plain,
		"BOM":          "\xef\xbb\xbf" + `<?xml version="1.0" encoding="UTF-8"?>` + plain,
		"Latin 1":      `<?xml version="1.0" encoding="ISO-8859-1"?>` + strings.Replace(plain, "ä", "\xe4", 1),
		"UTF-16LE":     wide(func(u uint16) []byte { return []byte{byte(u), byte(u >> 8)} }, "\xff\xfe"),
		"UTF-16BE":     wide(func(u uint16) []byte { return []byte{byte(u >> 8), byte(u)} }, "\xfe\xff"),
		"long comment": "<!--" + strings.Repeat("x", 5000) + "-->" + plain,
		"by namespace": strings.Replace(plain, `version="1.0"`, `xmlns="http://www.topografix.com/GPX/1/0"`, 1),
		"prefix": `<g:gpx version="1.0" xmlns:g="http://www.topografix.com/GPX/1/0">` +
			strings.NewReplacer("<gpx version=\"1.0\">", "", "</", "</g:", "<t", "<g:t", "<n", "<g:n", "<h", "<g:h").Replace(plain),
	} {
		f, err := ReadGPX(name, strings.NewReader(text))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if f.Version != "1.0" || len(f.Tracks) != 1 || f.Tracks[0].Name != "Bäche" || f.Tracks[0].Fixes() != 1 {
			t.Errorf("%s: %+v", name, f)
			continue
		}
		p := f.Tracks[0].Legs[0][0]
		if p.Lat != 46.5 || p.Lon != 15.25 || p.HDOP != 2.5 || p.Time.Format("15:04:05.0") != "08:00:00.5" {
			t.Errorf("%s: %+v", name, p)
		}
	}
}

// TestPositions: no position among positions, and longitudes beyond 180.
func TestPositions(t *testing.T) {
	f, err := ReadGPX("c", strings.NewReader(track(`<trkpt lat="0" lon="0"/>`+"\n"+`<trkpt lat="1" lon="359.5"/>`+"\n"+`<trkpt lat="0" lon="179"/>`)))
	if err != nil {
		t.Fatal(err)
	}
	leg := f.Tracks[0].Legs[0]
	if len(leg) != 2 || leg[0].Lon != -0.5 || leg[0].Line != 5 || leg[1].Lon != 179 {
		t.Errorf("%+v", leg)
	}
	got := map[string]int{}
	for _, x := range f.Findings {
		got[x.Code] = x.Line
	}
	if len(got) != 2 || got["no_position"] != 4 || got["lon_wrapped"] != 5 {
		t.Errorf("findings %v", got)
	}
}

func TestChoose(t *testing.T) {
	f, err := ReadGPX("c.gpx", strings.NewReader(head+`
<wpt lat="1" lon="1"><name>Tank </name></wpt><wpt lat="2" lon="1"><name>x</name></wpt><wpt lat="2" lon="1"><name>X</name></wpt>
<rte><name>Short</name><rtept lat="1" lon="1"/><rtept lat="1" lon="1.001"/></rte>
<trk><name>Creek</name><trkseg/><trkseg><trkpt lat="1" lon="1"/><trkpt lat="1" lon="1.01"/></trkseg><trkseg><trkpt lat="1" lon="1.02"/></trkseg></trk>
<trk><name>Dot</name><trkseg><trkpt lat="1" lon="1"/></trkseg></trk></gpx>`))
	if err != nil {
		t.Fatal(err)
	}
	creek, notes, err := f.Choose("")
	if err != nil || creek.Name != "Creek" || len(creek.Legs) != 2 || len(notes) != 1 || !strings.Contains(notes[0].Text, `route "Short"`) || notes[0].Line != 6 {
		t.Errorf("%+v %+v %v", creek, notes, err)
	}
	if short, notes, err := f.Choose(" short"); err != nil || !short.Route || len(notes) != 0 {
		t.Errorf("%+v %v %v", short, notes, err)
	}
	if _, _, err := f.Choose("Dot"); codeOf(err) != "no_such_track" {
		t.Errorf("a single point was taken for a track: %v", err)
	}
	if w, err := f.Waypoint("tank"); err != nil || w.Lat != 1 {
		t.Errorf("%+v %v", w, err)
	}
	if _, err := f.Waypoint("x"); codeOf(err) != "waypoint_twice" {
		t.Errorf("two waypoints of one name: %v", err)
	}
	if _, err := f.Waypoint("pump"); codeOf(err) != "no_such_waypoint" {
		t.Errorf("%v", err)
	}
}

// FuzzReadGPX: any bytes are read or refused with a fault; what is read is
// finite and within the globe, and every fix knows its line.
func FuzzReadGPX(f *testing.F) {
	f.Add([]byte(track(`<trkpt lat="1" lon="2"><ele>1</ele><time>2024-05-01T10:00:00Z</time><hdop>1</hdop></trkpt>`)))
	f.Add([]byte(head + `<wpt lat="-90" lon="360"><name>&lt;</name></wpt><rte><rtept lat="0" lon="0"/></rte></gpx>`))
	f.Add([]byte(head + `<trk><trkseg><trkpt lat="1" lon="1"><trkpt lat="2" lon="2"/></trkpt></trkseg></trk></gpx>`))
	f.Add([]byte("\xff\xfe<\x00g\x00p\x00x\x00/\x00>\x00"))
	f.Add([]byte(`<gpx version="1.0"><trk><extensions><trkpt lat="9" lon="9"/></extensions><name>a<b>c</b></name></trk></gpx>`))
	f.Fuzz(func(t *testing.T, raw []byte) {
		field, err := ReadGPX("f", bytes.NewReader(raw))
		if err != nil {
			var fault *finding.Fault
			if !errors.As(err, &fault) || fault.Code == "gpx_unreadable" {
				t.Fatalf("unexpected error %v", err)
			}
			return
		}
		lines := 1 + bytes.Count(raw, []byte("\n"))
		check := func(p Fix) {
			if !p.Valid() || p.Lon > 180 || p.Line < 1 || p.Line > lines || math.IsInf(p.EleM, 0) {
				t.Fatalf("bad fix %+v", p)
			}
		}
		for _, w := range field.Waypoints {
			check(w)
		}
		for _, tr := range field.Tracks {
			for _, leg := range tr.Legs {
				for _, p := range leg {
					check(p)
				}
			}
		}
	})
}
