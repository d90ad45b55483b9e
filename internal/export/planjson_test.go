package export

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"route/internal/plan"
)

// compiled compiles a schema with the library of santhosh-tekuri, which passes
// the official JSON Schema test suite.
func compiled(t *testing.T, name string, document any) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	if err := c.AddResource(name, document); err != nil {
		t.Fatal(err)
	}
	schema, err := c.Compile(name)
	if err != nil {
		t.Fatal(err)
	}
	return schema
}

func parsed(t *testing.T, b []byte) any {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// closed forbids, in every object of a schema, what the schema does not name.
// The shipped schema allows more, because plan.json grows by additions; but it
// has to name all that is written today.
func closed(v any) any {
	switch v := v.(type) {
	case map[string]any:
		if v["type"] == "object" {
			v["additionalProperties"] = false
		}
		for _, part := range v {
			closed(part)
		}
	case []any:
		for _, part := range v {
			closed(part)
		}
	}
	return v
}

func TestPlanJSONFollowsItsSchema(t *testing.T) {
	shipped := compiled(t, "urn:route:plan:1", parsed(t, PlanSchema))
	strict := compiled(t, "urn:route:plan:1", closed(parsed(t, PlanSchema)))
	for name, p := range fixtures() {
		document := parsed(t, written(t, PlanJSON, p))
		if err := shipped.Validate(document); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if err := strict.Validate(document); err != nil {
			t.Errorf("%s holds what the schema does not name: %v", name, err)
		}
	}
}

func TestTheSchemaSeesWhatIsWrong(t *testing.T) {
	schema := compiled(t, "urn:route:plan:1", parsed(t, PlanSchema))
	good := string(written(t, PlanJSON, fixturePlan("us")))
	for _, change := range [][2]string{
		{`"format": "route-plan/1"`, `"format": "route-plan/2"`},
		{`"units": "us"`, `"units": "imperial"`},
		{`"seed": 7,`, ``},
		{`"count": 1,`, `"count": "1",`},
		{`"level": "warning"`, `"level": "fatal"`},
		{`"chance_works": 0.83`, `"chance_works": 83`},
		{`"lat": 0.0`, `"lat": 100.0`},
	} {
		bad := strings.Replace(good, change[0], change[1], 1)
		if bad == good {
			t.Fatalf("%s is not in the file", change[0])
		}
		if schema.Validate(parsed(t, []byte(bad))) == nil {
			t.Errorf("%s in place of %s passes", change[1], change[0])
		}
	}
}

// contractFields are the names that the outside contract of plan.json gives,
// as paths into the document; [] steps into the first element.
var contractFields = strings.Fields(`
format tool_version site seed
inputs[].path inputs[].sha256 inputs[].crs inputs[].vertical_unit inputs[].cell_m inputs[].accuracy_class
creek.length_m creek.fall_m creek.stations[].station_m creek.stations[].lon creek.stations[].lat creek.stations[].z_m
creek.stations[].z_sd_m creek.stations[].raw_m creek.stations[].flags
layouts[].id layouts[].rank layouts[].objective
layouts[].intake.station_m layouts[].intake.lon layouts[].intake.lat layouts[].intake.ground_m layouts[].intake.water_m
layouts[].settling_box
layouts[].standpipe.station_m layouts[].standpipe.lon layouts[].standpipe.lat layouts[].standpipe.ground_m
layouts[].standpipe.height_m layouts[].standpipe.static_level_m layouts[].standpipe.running_level_m
layouts[].pump.station_m layouts[].pump.lon layouts[].pump.lat layouts[].pump.ground_m layouts[].pump.outlet_m layouts[].pump.count layouts[].pump.model
layouts[].tank.lon layouts[].tank.lat layouts[].tank.ground_m layouts[].tank.inlet_m
layouts[].supply.material layouts[].supply.size layouts[].supply.inside_m layouts[].supply.length_m layouts[].supply.flow_l_s layouts[].supply.loss_m
layouts[].drive.material layouts[].drive.size layouts[].drive.inside_m layouts[].drive.length_m layouts[].drive.fall_m layouts[].drive.length_to_diameter
layouts[].delivery.material layouts[].delivery.size layouts[].delivery.inside_m layouts[].delivery.length_m layouts[].delivery.lift_m
layouts[].delivery.crest_m layouts[].delivery.loss_m
layouts[].drive_head_m layouts[].drive_head_sd_m layouts[].chance_works
layouts[].drive_flow_l_min layouts[].delivered_l_min layouts[].delivered_l_day layouts[].delivered_l_day_low layouts[].delivered_l_day_high
layouts[].beats_per_min layouts[].efficiency
layouts[].cost.currency layouts[].cost.supply layouts[].cost.drive layouts[].cost.delivery layouts[].cost.other layouts[].cost.total
layouts[].messages[].level layouts[].messages[].code layouts[].messages[].text layouts[].messages[].hint layouts[].messages[].station_m
messages[].level messages[].code messages[].text messages[].hint messages[].station_m
rejected[].reason rejected[].count rejected[].nearest.station_m rejected[].nearest.value rejected[].nearest.limit
works_cited[]
`)

func TestPlanJSONHasTheFieldsOfTheContract(t *testing.T) {
	var document any
	if err := json.Unmarshal(written(t, PlanJSON, fixturePlan("us")), &document); err != nil {
		t.Fatal(err)
	}
	for _, field := range contractFields {
		at := document
		for _, step := range strings.Split(field, ".") {
			name, isList := strings.CutSuffix(step, "[]")
			object, ok := at.(map[string]any)
			if !ok {
				t.Fatalf("%s: %s is in no object", field, step)
			}
			value, ok := object[name]
			if !ok {
				t.Errorf("%s is missing", field)
				break
			}
			at = value
			if isList {
				at = value.([]any)[0]
			}
		}
	}
}

// Unknown is null, money is exact, and what is read back is what was written.
func TestPlanJSONReadsBack(t *testing.T) {
	p := fixturePlan("us")
	var back plan.Plan
	if err := json.Unmarshal(written(t, PlanJSON, p), &back); err != nil {
		t.Fatal(err)
	}
	if back.Layouts[0].Tank.StationM.Known() || back.Layouts[0].Drive.LossM.Known() {
		t.Error("an unknown value came back as a number")
	}
	for i, l := range p.Layouts {
		if back.Layouts[i].Cost != l.Cost {
			t.Errorf("layout %s: cost %v came back as %v", l.ID, l.Cost, back.Layouts[i].Cost)
		}
	}
	back.Relief, back.Prices = p.Relief, p.Prices
	if !bytes.Equal(written(t, PlanJSON, &back), written(t, PlanJSON, p)) {
		t.Error("writing what was read back gives other bytes")
	}
}
