package deploy_test

import (
	"cmp"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"leat/dosing"
	"leat/safety"
)

var update = flag.Bool("update", false, "write deploy/glossary.md anew")

// term is a thing of the farm with its name wherever a person meets it; "–" where it has
// none.
type term struct {
	thing, page, topic, metric, key, means string
}

var terms = []term{
	{"station", "–", "leat/{station}/…", "–", "station.name", "One row of stocks with acid and base, their pumps and the tanks that they serve; one order at a time."},
	{"tank", "–", "leat/{station}/{tank}/…", "–", "tank.name", "A volume of solution with its probes, setpoints and mode."},
	{"reading", "Readings", "leat/{station}/{tank}/reading/{probe}", "reading_age_seconds", "tank.input", "The value of an input as it arrived, with its quality and age."},
	{"quality", "good", "–", "reading_quality", "–", "Whether a reading is valid for dosing: " + "good and maintenance-required are."},
	{"setpoint", "setpoint", "leat/{station}/{tank}/setpoint/{quantity}", "setpoint_working_ph", "tank.ph_setpoint", "What pH or EC is held at; a new one is reached along a ramp."},
	{"settled", "Will settle at", "leat/{station}/{tank}/state", "settled_ph", "–", "Where the water comes to rest with what is in it already."},
	{"in transit", "–", "–", "in_transit_ph", "tank.dead_time", "What was dosed and has not reached the probes yet."},
	{"interlock", "Active interlocks", "leat/{station}/{tank}/state", "interlock_active", "–", "What keeps a dose from going out: a hold ends with its cause, a stop by a person."},
	{"alarm", "Alarms", "leat/{station}/{tank}/alarm/{cause}", "alarm_state", "–", "What a person is told of, with its priority: now, tonight, tomorrow or log."},
	{"mode", "armed", "leat/{station}/{tank}/state", "mode", "station.rearm_after_restart", "Whether the tank doses (armed), only looks (observing), waits (holding) or stands (stopped)."},
	{"dose", "given", "leat/{station}/order/{pump}", "doses_total", "pump.min_dose", "One run of one pump, counted from its intent on."},
	{"order", "–", "leat/{station}/order/{pump}", "–", "pump.on_time_limit", "What a node is told to give: a bounded volume in a bounded time, once."},
	{"report", "–", "leat/{station}/report/{pump}", "–", "–", "What a node says became of an order; it may raise the count, never lower it."},
	{"lease", "–", "leat/{station}/lease", "–", "–", "The word without which a node stops its pumps within ten seconds."},
	{"epoch", "–", "leat/{station}/lease", "epoch", "–", "The number of the daemon's run; nodes refuse a lower one than they have seen."},
	{"ledger", "Ledger", "–", "ledger_state", "storage.folder", "The record of every intent, dose and change, in which a changed row shows."},
	{"daily cap", "a day", "–", "daily_cap_used_ratio", "pump.daily_cap", "The most that a pump may dose in any 24 hours."},
	{"hourly cap", "an hour", "–", "hourly_cap_used_ratio", "pump.hourly_cap", "The most that a pump may dose in any hour."},
	{"dose cap", "at most", "–", "–", "pump.dose_cap", "The most that one dose may be; effect and what is in transit may allow less."},
	{"container", "left", "–", "container_left_millilitres", "pump.container", "What a pump draws from."},
	{"fit for plants", "Not fit for plants", "leat/{station}/{tank}/fit", "fit_for_plants", "–", "Whether the water may go to the crop; only evidence forbids it."},
	{"ions", "Ions against the recipe", "leat/{station}/{tank}/ions", "ion_millimoles_per_litre", "tank.recipe", "The account of the single ions of a tank that names a recipe."},
	{"analysis", "analysis", "leat/{station}/{tank}/analysis/ask", "ions_analysed_age_seconds", "–", "What a laboratory found; it corrects the account of the ions."},
	{"node", "Pump nodes", "leat/{station}/node/{node}", "node_seen", "node.name", "The controller at the pumps or valves, with limits of its own."},
}

// glossary is the whole document, made from the code.
func glossary(t *testing.T) string {
	var b strings.Builder
	row := func(cells ...string) { fmt.Fprintf(&b, "| %s |\n", strings.Join(cells, " | ")) }
	head := func(title string, cells ...string) {
		fmt.Fprintf(&b, "\n## %s\n\n", title)
		row(cells...)
		fmt.Fprintf(&b, "|%s\n", strings.Repeat("---|", len(cells)))
	}
	code := func(s string) string {
		if s == "–" || s == "" {
			return "–"
		}
		return "`" + s + "`"
	}
	b.WriteString("# Glossary\n\nOne name for each thing. Made from the code by `go test ./deploy -run Glossary -update`.\n")
	head("Things", "thing", "on the page", "topic", "metric", "configuration", "what it is")
	for _, x := range terms {
		metric := x.metric
		if metric != "–" {
			metric = "leat_" + metric
		}
		row(x.thing, x.page, code(x.topic), code(metric), code(x.key), x.means)
	}
	head("Interlocks and alarms", "cause", "what is so", "action", "scope", "priority", "latches", "what ends it")
	for c := safety.CauseNone + 1; c < safety.CauseCount; c++ {
		i := safety.Of(c)
		row(code(c.String()), i.Text, i.Action.String(), i.Scope.String(), i.Priority.String(), i.Latches.String(), i.Clears)
	}
	head("Inputs", "input", "unit", "configuration")
	for q := dosing.QuantityNone + 1; q < dosing.QuantityCount; q++ {
		unit := q.Unit()
		if q.Switch() {
			unit = "0 or 1"
		}
		row(code(q.String()), cmp.Or(unit, "–"), code("input."+q.String()))
	}
	head("Metrics", "metric", "what it is")
	for _, m := range metricsOf(t) {
		row(code("leat_"+m[1]), m[2])
	}
	head("Configuration keys", "key", "what it is")
	for _, k := range keysOf(t) {
		row(code(k[0]), k[1])
	}
	return b.String()
}

var family = regexp.MustCompile(`(?m)^\t\{"([a-z_]+)", "([^"]+)", `)

func metricsOf(t *testing.T) [][]string {
	found := family.FindAllStringSubmatch(read(t, "../controller/metrics/snapshot.go"), -1)
	if len(found) < 20 {
		t.Fatalf("%d families of metrics are found", len(found))
	}
	return found
}

// keysOf are the keys of a configuration with what their schema says, by table.
func keysOf(t *testing.T) (all [][2]string) {
	var schema map[string]any
	if err := json.Unmarshal([]byte(read(t, "leat.schema.json")), &schema); err != nil {
		t.Fatal(err)
	}
	var walk func(path string, node map[string]any)
	walk = func(path string, node map[string]any) {
		if reference, ok := node["$ref"].(string); ok {
			target := any(schema)
			for _, step := range strings.Split(strings.TrimPrefix(reference, "#/"), "/") {
				target = target.(map[string]any)[step]
			}
			walk(path, target.(map[string]any))
		}
		if items, ok := node["items"].(map[string]any); ok {
			walk(path, items)
		}
		properties, _ := node["properties"].(map[string]any)
		for name, p := range properties {
			key, inner := strings.TrimPrefix(path+"."+name, "."), p.(map[string]any)
			if text, ok := inner["description"].(string); ok {
				all = append(all, [2]string{key, strings.ReplaceAll(text, "|", `\|`)})
			}
			if len(strings.Split(key, ".")) < 4 {
				walk(key, inner)
			}
		}
	}
	walk("", schema)
	slices.SortFunc(all, func(a, b [2]string) int { return strings.Compare(a[0], b[0]) })
	return all
}

func TestTheGlossaryIsThatOfTheCode(t *testing.T) {
	made := glossary(t)
	if *update {
		if err := os.WriteFile("glossary.md", []byte(made), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if read(t, "glossary.md") != made {
		t.Error("deploy/glossary.md is not what the code says: go test ./deploy -run Glossary -update, and read the change")
	}
}

func TestEveryNameOfTheGlossaryIsOneThatAPersonMeets(t *testing.T) {
	page := read(t, "../controller/web/page/tank.html") + read(t, "../controller/web/page/solution.html") + read(t, "../controller/web/page/past.html") + read(t, "../controller/web/page/home.html") + read(t, "../controller/web/page/stocks.html") + read(t, "../controller/web/page/enter.html") + read(t, "../controller/web/words.go")
	for q := dosing.QualityFailure; q < dosing.QualityCount; q++ {
		page += q.String() + "\n"
	}
	for m := safety.ModeObserving; m < safety.ModeCount; m++ {
		page += m.String() + "\n"
	}
	topics := read(t, "asyncapi.yml")
	metrics := map[string]bool{}
	for _, m := range metricsOf(t) {
		metrics[m[1]] = true
	}
	for _, name := range []string{"doses_total"} {
		metrics[name] = strings.Contains(read(t, "../controller/metrics/snapshot.go"), `"`+name+`"`)
	}
	keys := map[string]bool{}
	for _, k := range keysOf(t) {
		keys[k[0]] = true
	}
	for _, x := range terms {
		if x.page != "–" && !strings.Contains(page, x.page) {
			t.Errorf("%s: the page says nowhere %q", x.thing, x.page)
		}
		if x.topic != "–" && !strings.Contains(topics, strings.TrimSuffix(x.topic, "…")) {
			t.Errorf("%s: there is no topic %s", x.thing, x.topic)
		}
		if x.metric != "–" && !metrics[x.metric] {
			t.Errorf("%s: there is no metric leat_%s", x.thing, x.metric)
		}
		if x.key != "–" && !keys[x.key] {
			t.Errorf("%s: there is no key %s", x.thing, x.key)
		}
	}
}
