package config

import (
	"errors"
	"flag"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/BurntSushi/toml"

	"leat/controller"
	"leat/deploy"
	"leat/dosing"
)

var update = flag.Bool("update", false, "write golden files instead of comparing with them")

const files = "../../testdata/config"

// faultsOf are the single faults of an error from Load or Parse; nil if it is another
// kind of error.
func faultsOf(err error) Faults {
	var faults Faults
	if errors.As(err, &faults) {
		return faults
	}
	return nil
}

// stranger is an environment that has nothing: no variables, no files.
func stranger() Env {
	return Env{
		Folder:   "/etc/leat",
		Variable: func(string) (string, bool) { return "", false },
		ReadSecret: func(path string) ([]byte, fs.FileMode, error) {
			return nil, 0, &fs.PathError{Op: "open", Path: path, Err: fs.ErrNotExist}
		},
	}
}

func good(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(files, "good", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func parsed(t *testing.T, text string) *File {
	t.Helper()
	f, err := Parse("farm.toml", []byte(text), stranger())
	if err != nil {
		t.Fatalf("refused:\n%v", err)
	}
	return f
}

// changed is text with one thing changed; the test fails if it is not there.
func changed(t *testing.T, text, old, new string) string {
	t.Helper()
	if !strings.Contains(text, old) {
		t.Fatalf("no %q in the file", old)
	}
	return strings.Replace(text, old, new, 1)
}

// faultOf parses text and returns the fault whose key ends so.
func faultOf(t *testing.T, text, key string) *FieldError {
	t.Helper()
	_, err := Parse("farm.toml", []byte(text), stranger())
	for _, f := range faultsOf(err) {
		if strings.HasSuffix(f.Key, key) {
			return f
		}
	}
	t.Fatalf("no fault of %q in: %v", key, err)
	return nil
}

func TestEachBadFileIsRefusedWithKeyLineAndWhatToWrite(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join(files, "bad", "*.toml"))
	if err != nil || len(paths) < 60 {
		t.Fatalf("%d bad files, %v", len(paths), err)
	}
	for _, path := range paths {
		name := strings.TrimSuffix(filepath.Base(path), ".toml")
		t.Run(name, func(t *testing.T) {
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			f, err := Parse(name+".toml", text, stranger())
			if err == nil || f != nil {
				t.Fatalf("taken: %v", f)
			}
			golden(t, strings.TrimSuffix(path, ".toml")+".txt", err.Error()+"\n")
			lines := strings.Count(string(text), "\n")
			for _, fault := range faultsOf(err) {
				if fault.Problem == "" || fault.Line > lines+1 {
					t.Errorf("fault without a problem or beyond the file: %+v", fault)
				}
				if strings.Contains(fault.Error(), "hunter2") {
					t.Errorf("the error repeats a secret: %v", fault)
				}
			}
		})
	}
}

func golden(t *testing.T, path, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s: got\n%s\nwant\n%s", path, got, want)
	}
}

func TestAllFaultsAreReportedAtOnceInTheOrderOfTheirLines(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(files, "bad", "many_at_once.toml"))
	if err != nil {
		t.Fatal(err)
	}
	_, err = Parse("many_at_once.toml", text, stranger())
	faults := faultsOf(err)
	if len(faults) != 10 {
		t.Errorf("%d faults, planted 10:\n%v", len(faults), err)
	}
	for i := 1; i < len(faults); i++ {
		if faults[i].Line < faults[i-1].Line {
			t.Errorf("line %d after line %d", faults[i].Line, faults[i-1].Line)
		}
	}
	var one *FieldError
	if !errors.As(err, &one) || one.Line == 0 {
		t.Errorf("errors.As finds no fault with a line: %+v", one)
	}
}

func TestMinimalFileRunsOnSafeDefaultsAndSaysWhatItAssumed(t *testing.T) {
	text, err := os.ReadFile("../../deploy/minimal.toml")
	if err != nil {
		t.Fatal(err)
	}
	f := parsed(t, string(text))
	fitted := map[dosing.Quantity]string{}
	for _, in := range f.InputTopics {
		fitted[f.Settings.Safety.Inputs[in.Input].Quantity] = in.Topic
	}
	for q, topic := range map[dosing.Quantity]string{
		dosing.QuantityPH: "leat/station/tank/reading/ph", dosing.QuantityEC: "leat/station/tank/reading/ec", dosing.QuantityTemperature: "leat/station/tank/reading/temperature",
		dosing.QuantityLevel: "leat/station/tank/reading/level", dosing.QuantityCirculation: "leat/station/tank/reading/circulation",
	} {
		if fitted[q] != topic {
			t.Errorf("%v on topic %q, want %q", q, fitted[q], topic)
		}
	}
	if !f.Settings.Safety.Tanks[0].HalvedCaps {
		t.Error("leak and stop are not stated, yet the caps are not halved")
	}
	if f.Settings.ReArm {
		t.Error("armed again without being asked to")
	}
	warnings := strings.Join(f.Warnings, "\n")
	for _, word := range []string{"mixing not measured", "no [[node]]", "compensation not stated", "neither salts nor ec_gain", "no base pump"} {
		if !strings.Contains(warnings, word) {
			t.Errorf("no warning of %q in\n%s", word, warnings)
		}
	}
	report := Check(f)
	if !report.OK || len(report.Tanks[0].Sustainable) != 2 {
		t.Errorf("report %+v", report.Tanks)
	}
}

// A full file says something of every input: leaving one out is then a fault.
func TestSilenceOfAnInputIsTakenOnlyInAMinimalFile(t *testing.T) {
	text, err := os.ReadFile("../../deploy/minimal.toml")
	if err != nil {
		t.Fatal(err)
	}
	_, err = Parse("farm.toml", []byte(string(text)+"\n[station.stop]\n"), stranger())
	var keys []string
	for _, f := range faultsOf(err) {
		keys = append(keys, f.Key)
	}
	got := strings.Join(keys, " ")
	for _, key := range []string{"input.ph", "input.ec", "input.temperature", "input.level", "input.circulation", "input.leak", "input.top_up", "input.sample_flow", "input.redox", "station.drip_tray"} {
		if !strings.Contains(got, key) {
			t.Errorf("%s left out without a fault; faults: %s", key, got)
		}
	}
}

func TestSixteenStocksAreTakenAndTheirSharesSumToOne(t *testing.T) {
	f := parsed(t, good(t, "sixteen_stocks.toml"))
	stocks, sum := 0, 0.0
	for _, p := range f.Settings.Safety.Pumps {
		if p.Role == dosing.RoleStock {
			stocks++
			sum += p.Share
		}
	}
	if stocks != 16 || sum < 1-1e-12 || sum > 1+1e-12 {
		t.Errorf("%d stocks with shares that sum to %v", stocks, sum)
	}
}

func TestSampleFarmPassesCheckWithBothTanks(t *testing.T) {
	f := parsed(t, string(deploy.Sample))
	r := Check(f)
	if len(r.Tanks) != 2 || r.Tanks[0].Volume != 1400 || r.Tanks[1].Volume != 180 {
		t.Fatalf("tanks %+v", r.Tanks)
	}
	stocks := 0
	for _, p := range r.Pumps {
		if p.Role == "stock" {
			stocks++
		}
		for _, e := range p.Effects {
			if !(e.HangPH <= 0.3 && e.HangEC <= 0.2 && e.SmallestPH <= 0.05 && e.SmallestEC <= 0.02) {
				t.Errorf("%s on %s: %+v", p.Name, e.Tank, e)
			}
		}
	}
	if stocks != 9 {
		t.Errorf("%d stocks", stocks)
	}
	for _, tank := range r.Tanks {
		if len(tank.Sustainable) != 3 {
			t.Errorf("%s: %+v", tank.Name, tank.Sustainable)
		}
		for _, s := range tank.Sustainable {
			if !(s.Ratio >= 1.5) {
				t.Errorf("%s: %+v", tank.Name, s)
			}
		}
	}
	zones := f.Settings.Tanks[0].Zones
	if len(zones) != 3 {
		t.Errorf("zones %+v", zones)
	}
}

func TestPlainFileIsReadToTheLastUnit(t *testing.T) {
	f := parsed(t, good(t, "plain.toml"))
	tank := f.Settings.Safety.Tanks[0]
	if tank.Volume != 600 || tank.MinVolume != 450 || tank.DeadTime != 90*time.Second || tank.TimeConstant != 2*time.Minute {
		t.Errorf("tank %+v", tank)
	}
	if ec := f.Settings.Tanks[0].EC.Value; ec != 1.5 {
		t.Errorf("1500 µS/cm read as %v mS/cm", ec)
	}
	// 100 mg/L CaCO3 is 2 meq/L: 100.09 g/mol, two equivalents.
	if a := tank.TopUp.Alkalinity; a < 1.997 || a > 1.999 {
		t.Errorf("100 mg/L CaCO3 read as %v meq/L", a)
	}
	if buffer := f.plants[0].buffer; buffer < 0.3499 || buffer > 0.3501 {
		t.Errorf("stated buffer capacity 0.35 became %v", buffer)
	}
	byName := map[string]InputTopic{}
	for _, in := range f.InputTopics {
		byName[f.Settings.Safety.Inputs[in.Input].Name] = in
	}
	if in := byName["ph"]; in.Topic != "probes/7/ph" || in.Compensation.Method != dosing.MethodNone {
		t.Errorf("ph %+v", in)
	}
	if in := byName["ec"]; in.Compensation.Method != dosing.MethodISO7888 || in.Format.Pointer != "/ec/value" {
		t.Errorf("ec %+v", in)
	}
	if in := byName["ph_2"]; in.Topic != "farm/shed/beds/reading/ph_2" {
		t.Errorf("ph_2 on %q", in.Topic)
	}
	if !tank.HalvedCaps {
		t.Error("stop is waived, yet the caps are not halved")
	}
	if f.State != "/etc/leat/records" {
		t.Errorf("state folder %q", f.State)
	}
	if f.Zone != time.UTC {
		t.Errorf("zone %v", f.Zone)
	}
	if order := f.Topics.Order("acid"); order != "farm/shed/order/acid" {
		t.Errorf("orders of the acid pump on %q", order)
	}
}

// Every key of the sample is found on a line that holds it: what a fault names is
// where the grower must look.
func TestProbesMayShareATopicIfTheyReadDifferentPlacesOfIt(t *testing.T) {
	text, err := os.ReadFile("../../testdata/config/good/plain.toml")
	if err != nil {
		t.Fatal(err)
	}
	shared := strings.Replace(string(text), "topic = \"probes/7/ph\"", "topic = \"probes/7/ec\"\nformat = \"json\"\npointer = \"/ph\"", 1)
	if _, err := Parse("shared.toml", []byte(shared), Env{}); err != nil {
		t.Errorf("one payload with pH and EC: %v", err)
	}
	same := strings.Replace(shared, "pointer = \"/ph\"", "pointer = \"/ec/value\"", 1)
	if _, err := Parse("same.toml", []byte(same), Env{}); err == nil || !strings.Contains(err.Error(), "its own pointer") {
		t.Errorf("two probes at one place: %v", err)
	}
}

func TestLinesAreThoseOfTheKeys(t *testing.T) {
	text := string(deploy.Sample)
	rows := strings.Split(text, "\n")
	lines := indexLines(text)
	var tree map[string]any
	if _, err := toml.Decode(text, &tree); err != nil {
		t.Fatal(err)
	}
	seen := 0
	var walk func(path string, node any)
	walk = func(path string, node any) {
		switch v := node.(type) {
		case map[string]any:
			for key, child := range v {
				at := join(path, key)
				line, known := lines[at]
				if !known || line < 1 || !strings.Contains(rows[line-1], key) {
					t.Errorf("%s on line %d, which reads %q", at, line, rows[max(line, 1)-1])
				}
				seen++
				walk(at, child)
			}
		case []map[string]any:
			for i, child := range v {
				walk(join(path, string(rune('0'+i))), child)
			}
		}
	}
	delete(tree, "pump") // more than ten: the rune above counts to nine
	walk("", tree)
	if seen < 80 {
		t.Errorf("only %d keys looked at", seen)
	}
}

func TestLinesHoldThroughLongStringsCommentsAndInlineTables(t *testing.T) {
	text := "a = \"\"\"\nx = 1 # no key\n\"\"\" # a\n[b.\"c d\"]\ne = { f = 1, g = [ { h = 2 },\n  { h = 3 } ] }\n\n[[k]]\n[[k]]\n  l.m = 'n' # l\n"
	lines := indexLines(text)
	for path, line := range map[string]int{"a": 1, "b.c d": 4, "b.c d.e": 5, "b.c d.e.f": 5, "b.c d.e.g.1.h": 6, "k.0": 8, "k.1": 9, "k.1.l.m": 10} {
		if lines[path] != line {
			t.Errorf("%s on line %d, want %d", path, lines[path], line)
		}
	}
	if _, found := lines["x"]; found {
		t.Error("a key was found inside a string")
	}
}

func TestARefusalNamesAFlowThatPasses(t *testing.T) {
	for _, c := range []struct{ file, rate string }{
		{"acid_pump_too_fast", "150 mL/min"}, {"stock_pump_too_fast", "8 L/min"}, {"acid_too_strong", "12 mL/min"},
	} {
		text, err := os.ReadFile(filepath.Join(files, "bad", c.file+".toml"))
		if err != nil {
			t.Fatal(err)
		}
		fault := faultOf(t, string(text), ".rate")
		match := regexp.MustCompile(`slow the pump to "([^"]+)"`).FindStringSubmatch(fault.Hint)
		if match == nil {
			t.Fatalf("%s: no flow in %q", c.file, fault.Hint)
		}
		cured := changed(t, string(text), `rate = "`+c.rate+`"`, `rate = "`+match[1]+`"`)
		_, err = Parse("cured.toml", []byte(cured), stranger())
		for _, f := range faultsOf(err) {
			if strings.HasSuffix(f.Key, ".rate") {
				t.Errorf("%s: slowed to %s and still refused: %v", c.file, match[1], f)
			}
		}
	}
}

func TestARefusalNamesADilutionThatPasses(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(files, "bad", "acid_too_strong.toml"))
	if err != nil {
		t.Fatal(err)
	}
	fault := faultOf(t, string(text), ".rate")
	match := regexp.MustCompile(`dilute it to "([^"]+)"`).FindStringSubmatch(fault.Hint)
	if match == nil {
		t.Fatalf("no dilution in %q", fault.Hint)
	}
	parsed(t, changed(t, string(text), `strength = "75 %"`, `strength = "`+match[1]+`"`))
}

// The largest T that passes is q·C·T = 0.3·β·V exactly: judged here by the formula
// of sizing, worked by hand from the report's own q, C, β and V.
func TestDangerIsJudgedByTheFormulaOfTheSafetyDesign(t *testing.T) {
	base := good(t, "plain.toml")
	r := Check(parsed(t, base))
	acid, tank := r.Pumps[0], r.Tanks[0]
	longest := 0.3 * tank.Buffer * tank.MinVolume / (acid.PerMinute / 60 * acid.AcidPerML)
	for _, c := range []struct {
		seconds float64
		refused bool
	}{{longest * 0.99, false}, {longest * 1.01, true}} {
		text := changed(t, base, `on_time_limit = "30s"`, `on_time_limit = "`+figure(c.seconds)+`s"`)
		_, err := Parse("farm.toml", []byte(text), stranger())
		refused := err != nil && strings.Contains(err.Error(), "is dangerous")
		if refused != c.refused {
			t.Errorf("a run of %v s where %v s is the limit: refused %v, %v", c.seconds, longest, refused, err)
		}
	}
}

func TestPumpsOfOneTankDoNotServeTheOther(t *testing.T) {
	f := parsed(t, string(deploy.Sample))
	for i := range f.Settings.Safety.Pumps {
		p := &f.Settings.Safety.Pumps[i]
		north, nursery := p.ServesTank(0), p.ServesTank(1)
		switch {
		case strings.HasSuffix(p.Name, "-north") && (!north || nursery),
			strings.HasSuffix(p.Name, "-nursery") && (north || !nursery),
			p.Role == dosing.RoleStock && !(north && nursery):
			t.Errorf("%s serves north %v, nursery %v", p.Name, north, nursery)
		}
	}
}

func TestTextsWithLineBreaksOrTurnedWritingAreRefused(t *testing.T) {
	for _, bad := range []string{`nitric\nacid`, `\u202Enitric acid`, `nitric acid\u0000`} {
		f := faultOf(t, changed(t, string(deploy.Sample), `"nitric acid"`, `"`+bad+`"`), "reagent")
		if !strings.Contains(f.Problem, "at place") || controller.Plain(f.Error()) != nil {
			t.Errorf("%s: %q", bad, f)
		}
	}
}
