package plan

import (
	"strings"
	"testing"
)

const editable = `# the whole job
name: "Fernhollow"          # of the farm
terrain: [ground.tif]
creek: creek.gpx
tank: {lat: 44.61, lon: -121.5, inlet_above_ground: "6 ft"} # by the barn
limits:
  # what the rocks allow
  drive_head: {min: "3 ft"}
  standpipe_height: {max: "8 ft"}

field: []                   # nothing yet
`

// TestEditSite changes one thing and leaves every other byte; the wanted text
// is written out by hand.
func TestEditSite(t *testing.T) {
	without := func(from, to string) string { return strings.Replace(editable, from, to, 1) }
	for _, c := range []struct {
		name  string
		edits []SiteEdit
		from  string
		want  string
	}{
		{"a number in braces", []SiteEdit{{Key: "tank.lat", Value: "44.62"}}, editable, without("lat: 44.61", "lat: 44.62")},
		{"a text before a comment", []SiteEdit{{Key: "name", Value: `"Mill end"`}}, editable, without(`"Fernhollow"`, `"Mill end"`)},
		{"a file name", []SiteEdit{{Key: "creek", Value: "walked.gpx"}}, editable, without("creek.gpx", "walked.gpx")},
		{"a key that is not there", []SiteEdit{{Key: "units", Value: "us"}}, editable, editable + "units: us\n"},
		{"a group that is not there", []SiteEdit{{Key: "pins.pump", Value: `"394 ft"`}}, editable, editable + "pins:\n  pump: \"394 ft\"\n"},
		{"a group, then another of it", []SiteEdit{{Key: "pins.pump", Value: `"394 ft"`}, {Key: "pins.intake", Value: `"10 ft"`}}, editable, editable + "pins:\n  intake: \"10 ft\"\n  pump: \"394 ft\"\n"},
		{"taken out with its group", []SiteEdit{{Key: "pins.pump"}}, editable + "pins:\n  pump: \"394 ft\"\n", editable},
		{"taken out of two", []SiteEdit{{Key: "pins.pump"}}, editable + "pins:\n  pump: \"394 ft\"\n  intake: \"1 ft\"\n", editable + "pins:\n  intake: \"1 ft\"\n"},
		{"taken out of braces", []SiteEdit{{Key: "pins.pump"}}, editable + "pins: {pump: \"394 ft\", intake: \"1 ft\"}\n", editable + "pins: {intake: \"1 ft\"}\n"},
		{"added in braces", []SiteEdit{{Key: "pins.intake", Value: `"1 ft"`}}, editable + "pins: {pump: \"394 ft\"}\n", editable + "pins: {pump: \"394 ft\", intake: \"1 ft\"}\n"},
		{"what is not there is taken out", []SiteEdit{{Key: "pins.pump"}}, editable, editable},
		{"the first reading", []SiteEdit{{Key: "field", Value: `{drop: "3 ft", from: "10 ft", to: "90 ft", by: hose}`, Append: true}}, editable,
			without("field: []  ", "field: \n  - {drop: \"3 ft\", from: \"10 ft\", to: \"90 ft\", by: hose}  ")},
		{"another reading", []SiteEdit{{Key: "field", Value: `{drop: "3 ft", from: "10 ft", to: "90 ft", by: hose}`, Append: true}},
			without("field: []", "field:\n  - {drop: \"4 ft\", from: \"1 ft\", to: \"99 ft\"} # Tuesday\n"),
			without("field: []", "field:\n  - {drop: \"3 ft\", from: \"10 ft\", to: \"90 ft\", by: hose}\n  - {drop: \"4 ft\", from: \"1 ft\", to: \"99 ft\"} # Tuesday\n")},
		{"in a file of Windows with a byte order mark", []SiteEdit{{Key: "tank.lon", Value: "-121.6"}}, "\ufeff" + strings.ReplaceAll(editable, "\n", "\r\n"), "\ufeff" + strings.ReplaceAll(without("-121.5,", "-121.6,"), "\n", "\r\n")},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := EditSite("site.yaml", []byte(c.from), c.edits)
			if err != nil {
				t.Fatal(err)
			}
			if string(got) != c.want {
				t.Errorf("got\n%s\nwant\n%s", got, c.want)
			}
		})
	}
}

// TestEditSiteRefuses leaves to a person what it does not understand.
func TestEditSiteRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		from string
		edit SiteEdit
	}{
		"a value that is none":        {editable, SiteEdit{Key: "tank.lat", Value: "north"}},
		"a key that is none":          {editable, SiteEdit{Key: "pins.pomp", Value: `"1 ft"`}},
		"a text of several lines":     {strings.Replace(editable, `"Fernhollow"          # of the farm`, "|\n  Fern\n  hollow", 1), SiteEdit{Key: "name", Value: "Mill"}},
		"a line break in a value":     {editable, SiteEdit{Key: "name", Value: "Mill\nunits: us"}},
		"a reading that makes a mess": {editable, SiteEdit{Key: "field", Value: "{drop: }", Append: true}},
	} {
		if got, err := EditSite("site.yaml", []byte(c.from), []SiteEdit{c.edit}); err == nil {
			t.Errorf("%s was taken:\n%s", name, got)
		}
	}
}

// FuzzEditSite looks whether an edit of any file gives a file that still reads,
// with the value in it, or an error.
func FuzzEditSite(f *testing.F) {
	f.Add(editable, "pins.pump", `"394 ft"`)
	f.Add(editable, "tank.lat", "1")
	f.Add("terrain: [a.tif]\ncreek: c\npins: {pump: 1 m, intake: \"2 m\"}", "pins.pump", "")
	f.Add("{terrain: a, creek: b}", "name", "x")
	f.Fuzz(func(t *testing.T, content, key, value string) {
		got, err := EditSite("site.yaml", []byte(content), []SiteEdit{{Key: key, Value: value}})
		if err != nil {
			return
		}
		if _, err := ReadSettings("site.yaml", strings.NewReader(string(got))); err != nil {
			t.Errorf("the edited file does not read: %v\n%s", err, got)
		}
	})
}
