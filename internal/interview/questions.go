package interview

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"unicode"

	"route/internal/plan"
	"route/internal/quantity"
)

func (t *talk) askName() error {
	return t.until("What is the place called?", "My place", func(answer string) error {
		if !t.keepFolder {
			t.folder = folderName(answer)
			if _, err := os.Stat(filepath.Join(t.folder, "site.yaml")); err == nil {
				return refuse("there is a site file in "+t.folder+" already, and it is left as it is", "give the place another name")
			}
		}
		_, err := t.keep("name", "name: "+quote(answer)+"\n")
		return err
	})
}

// folderName makes the name of a folder of that of a place.
func folderName(name string) string {
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	if len(words) == 0 {
		return "my-place"
	}
	return strings.Join(words, "-")
}

func (t *talk) askUnits() error {
	return t.until("Feet and gallons (us), or metres and litres (si)?", "us", func(answer string) error {
		switch strings.ToLower(answer) {
		case "us", "feet", "ft", "gallons":
			answer = "us"
		case "si", "metric", "metres", "meters", "m":
			answer = "si"
		default:
			return refuse("the answer is us or si", "us prints feet, inches and gallons, si metres, millimetres and litres")
		}
		_, err := t.keep("units", "units: "+answer+"                  # what is printed: us or si\n")
		return err
	})
}

func (t *talk) askTerrain() error {
	t.say("\nThe ground comes from an elevation raster: a file such as ground.tif of your survey's\n\"bare earth\" or \"terrain\" model (DTM), with cells of 1 m if there are any.")
	return t.until("Which file holds the terrain? (Several tiles: their names with semicolons between.)", "", func(answer string) error {
		var names []string
		for _, name := range strings.Split(answer, ";") {
			if name = unwrapped(name); name == "" {
				continue
			}
			named, err := t.file(name)
			if err != nil {
				return err
			}
			names = append(names, quote(named))
		}
		if len(names) == 0 {
			return refuse("no file was named", "type its name, or drag the file into this window")
		}
		return t.lookAtTerrain("terrain: [" + strings.Join(names, ", ") + "]\n")
	})
}

// lookAtTerrain opens the rasters and asks for what they do not say
// themselves.
func (t *talk) lookAtTerrain(part string) error {
	for {
		site, err := t.site("terrain", part)
		if err != nil {
			return err
		}
		found := plan.LookAtTerrain(t.ctx, site)
		err = fault(found)
		if err == nil {
			t.sayTerrain(found)
			t.parts["terrain"] = "\n# The ground.\n" + part
			return nil
		}
		key, question := asksFor(found, part)
		if key == "" {
			return err
		}
		t.complain(err)
		answer, err := t.ask(question, "")
		if err != nil {
			return err
		}
		more := key + ": " + quote(answer) + "\n"
		if _, err := t.site("terrain", part+more); err != nil {
			return err
		}
		part += more
	}
}

// asksFor gives the setting that a refused raster lacks, and the question
// after it; empty when it is something else that is wrong.
func asksFor(found *plan.Inspection, part string) (key, question string) {
	for _, m := range found.Messages {
		switch {
		case strings.Contains(m.Hint, "z_unit") && !strings.Contains(part, "z_unit:"):
			return "z_unit", "What are its heights in: m, ft or us-ft? (The page that it came from says so.)"
		case strings.Contains(m.Hint, "crs:") && !strings.Contains(part, "crs:"):
			return "crs", "Which coordinate system is it in? (Such as EPSG:26910; the page that it came from says so.)"
		}
	}
	return "", ""
}

func (t *talk) sayTerrain(found *plan.Inspection) {
	for i, in := range found.Inputs {
		t.say("  %s opens: cells of %s, heights in %s, %s", filepath.Base(in.Path), in.CellText, in.HeightUnits(), in.CRS)
		if i < len(found.Extents) {
			e := found.Extents[i]
			t.say("  It covers latitude %.5f to %.5f, longitude %.5f to %.5f.", float64(e.South), float64(e.North), float64(e.West), float64(e.East))
		}
		t.say("  How good: %s, because %s.", in.AccuracyClass, in.AccuracyWhy)
	}
	t.warn(found)
}

func (t *talk) askCreek() error {
	return t.until("Which file holds the creek? (A GPX track walked along it, or a line drawn on a map.)", "", func(answer string) error {
		name := unwrapped(answer)
		if name == "" {
			return refuse("no file was named", "walk along the creek with a receiver or a phone that records a GPX track, or draw the line in a GIS")
		}
		named, err := t.file(name)
		if err != nil {
			return err
		}
		part := "\n# The creek, as it was walked or drawn.\ncreek: " + quote(named) + "\n"
		site, err := t.site("creek", part)
		if err != nil {
			return err
		}
		found, waypoints := plan.LookAtCreek(t.ctx, site)
		if err := fault(found); err != nil {
			return err
		}
		t.say("  The creek is %s long as walked.", t.length(float64(found.TrackM)))
		t.warn(found)
		t.waypoints, t.parts["creek"] = waypoints, part
		return nil
	})
}

func (t *talk) askTank() error {
	question, fallback := "Where will the tank stand? (Latitude and longitude in degrees, such as 44.61234, -121.53210.)", ""
	if len(t.waypoints) > 0 {
		question = "Where will the tank stand? (A waypoint of the creek's file: " + strings.Join(t.waypoints, ", ") + "; or latitude and longitude, such as 44.61234, -121.53210.)"
		for _, name := range t.waypoints {
			if strings.Contains(strings.ToLower(name), "tank") {
				fallback = name
				break
			}
		}
	}
	return t.until(question, fallback, func(answer string) error {
		place := ""
		for _, name := range t.waypoints {
			if strings.EqualFold(name, answer) {
				place = "waypoint: " + quote(name)
			}
		}
		if place == "" {
			at := plan.NewSite()
			if err := at.SetTank(answer); err != nil {
				return err
			}
			place = fmt.Sprintf("lat: %.7f, lon: %.7f", at.Tank.At.Lat, at.Tank.At.Lon)
		}
		site, err := t.site("tank", tankPart(place, ""))
		if err != nil {
			return err
		}
		t.say("  Looking at the ground there …")
		found := plan.Inspect(t.ctx, site)
		if err := fault(found); err != nil {
			return err
		}
		t.say("  The tank lies on the terrain, and the creek's profile can be worked out.")
		t.warn(found)
		t.place = place
		return nil
	})
}

func (t *talk) askInlet() error {
	fallback, unit := "2 m", "m"
	if t.us() {
		fallback, unit = "6 ft", "ft"
	}
	return t.until("How high above the ground does the water enter the tank?", fallback, func(answer string) error {
		answer = t.withUnit(answer, unit)
		_, err := t.keep("tank", tankPart(t.place, answer))
		return err
	})
}

// tankPart is the tank in the site file.
func tankPart(place, inlet string) string {
	if inlet != "" {
		place += ", inlet_above_ground: " + quote(inlet)
	}
	return "\n# The tank: its place, and how high the water enters it.\ntank: {" + place + "}\n"
}

// file finds a file from the working folder and names it as seen from the
// folder of the site file.
func (t *talk) file(name string) (string, error) {
	if strings.Contains(name, "://") || strings.HasPrefix(name, "/vsi") {
		return name, nil
	}
	if rest, ok := strings.CutPrefix(name, "~/"); ok {
		if home, err := os.UserHomeDir(); err == nil {
			name = filepath.Join(home, rest)
		}
	}
	if _, err := os.Stat(name); err != nil {
		here, _ := os.Getwd()
		return "", refuse("there is no file "+name+" in "+here, "type the whole name, beginning with /, or drag the file into this window")
	}
	full, err := filepath.Abs(name)
	if err != nil {
		return "", err
	}
	folder, err := filepath.Abs(t.folder)
	if err != nil {
		return "", err
	}
	if seen, err := filepath.Rel(folder, full); err == nil && strings.Count(seen, "..") <= 2 {
		return seen, nil
	}
	return full, nil
}

// unwrapped takes off the quotes and spaces that a file manager puts around a
// name that is dragged into a window.
func unwrapped(name string) string {
	name = strings.TrimSpace(name)
	for _, mark := range []string{"'", `"`} {
		if len(name) > 1 && strings.HasPrefix(name, mark) && strings.HasSuffix(name, mark) {
			return name[1 : len(name)-1]
		}
	}
	return strings.TrimPrefix(name, "file://")
}

// perDay prints a flow as the volume of a day.
func (t *talk) perDay(m3PerS float64) string {
	return quantity.Format(t.system(), quantity.DailyVolume, m3PerS)
}
