package config

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"leat/controller/payload"
	"leat/dosing"
	"leat/safety"
)

// inputRule is what holds for one input of a tank.
type inputRule struct {
	name     string
	quantity dosing.Quantity
	table    func(*inputsTable) *inputTable
	required bool // cannot be waived
	spare    bool // a second probe: may be left out without a word
}

var inputRules = []inputRule{
	{"ph", dosing.QuantityPH, func(t *inputsTable) *inputTable { return &t.PH }, true, false},
	{"ph_2", dosing.QuantityPH, func(t *inputsTable) *inputTable { return &t.PH2 }, false, true},
	{"ec", dosing.QuantityEC, func(t *inputsTable) *inputTable { return &t.EC }, true, false},
	{"ec_2", dosing.QuantityEC, func(t *inputsTable) *inputTable { return &t.EC2 }, false, true},
	{"temperature", dosing.QuantityTemperature, func(t *inputsTable) *inputTable { return &t.Temperature }, true, false},
	{"temperature_2", dosing.QuantityTemperature, func(t *inputsTable) *inputTable { return &t.Temperature2 }, false, true},
	{"level", dosing.QuantityLevel, func(t *inputsTable) *inputTable { return &t.Level }, true, false},
	{"circulation", dosing.QuantityCirculation, func(t *inputsTable) *inputTable { return &t.Circulation }, true, false},
	{"leak", dosing.QuantityLeak, func(t *inputsTable) *inputTable { return &t.Leak }, false, false},
	{"top_up", dosing.QuantityTopUp, func(t *inputsTable) *inputTable { return &t.TopUp }, false, false},
	{"flood", dosing.QuantityFlood, func(t *inputsTable) *inputTable { return &t.Flood }, false, false},
	{"outlet", dosing.QuantityOutlet, func(t *inputsTable) *inputTable { return &t.Outlet }, false, false},
	{"sample_flow", dosing.QuantitySampleFlow, func(t *inputsTable) *inputTable { return &t.SampleFlow }, false, false},
	{"light", dosing.QuantityLight, func(t *inputsTable) *inputTable { return &t.Light }, false, true},
	{"redox", dosing.QuantityRedox, func(t *inputsTable) *inputTable { return &t.Redox }, false, false},
}

// inputs builds the probes and switches.
type inputs struct{ *frame }

// read makes the station's inputs: those of each tank in the order of the
// table, then the station's, then the containers'.
//
// A tank of whose inputs not one is stated belongs to a first, minimal file: the
// five that cannot be waived are expected on their default topics, the rest count
// as not fitted, with a warning each. As soon as one is stated, each is stated or
// waived with a reason: silence could be an oversight.
func (b *inputs) read() {
	minimal := !b.layout.Station.Stop.Stated && !b.layout.Station.DripTray.Stated
	for i := range b.layout.Tanks {
		minimal = minimal && !b.layout.Tanks[i].Input.Stated
	}
	for i := range b.layout.Tanks {
		b.ofTank(dosing.TankID(i), minimal)
		b.watchedInputs(dosing.TankID(i))
	}
	b.ofStation("stop", &b.layout.Station.Stop, dosing.QuantityStop, minimal)
	b.ofStation("drip_tray", &b.layout.Station.DripTray, dosing.QuantityLeak, minimal)
	for i := range b.layout.Pumps {
		in := &b.layout.Pumps[i]
		if !in.Level.Stated {
			continue
		}
		input := safety.Input{Name: in.Name + "-level", Tank: dosing.AllTanks, Quantity: dosing.QuantityStockLevel, Pump: dosing.PumpID(i)}
		if in.Level.NotFitted != "" {
			b.waive("pump."+strconv.Itoa(i)+".level", &in.Level, input)
			continue
		}
		b.fit("pump."+strconv.Itoa(i)+".level", &in.Level, input)
	}
	b.halve()
}

func (b *inputs) pathOf(in safety.Input) string {
	switch {
	case in.Quantity == dosing.QuantityZoneFlow:
		return fmt.Sprintf("tank.%d.zone.%d.flow", in.Tank, in.Zone)
	case in.Quantity == dosing.QuantityZoneLevel:
		return fmt.Sprintf("tank.%d.zone.%d.level", in.Tank, in.Zone)
	case in.Quantity == dosing.QuantityStockLevel:
		return "pump." + strconv.Itoa(int(in.Pump)) + ".level"
	case in.Tank == dosing.AllTanks:
		return "station." + in.Name
	}
	return "tank." + strconv.Itoa(int(in.Tank)) + ".input." + in.Name
}

func (b *inputs) ofTank(id dosing.TankID, minimal bool) {
	t := &b.layout.Tanks[id]
	for _, rule := range inputRules {
		in := rule.table(&t.Input)
		input := safety.Input{Name: rule.name, Tank: id, Quantity: rule.quantity}
		path := b.pathOf(input)
		switch {
		case in.NotFitted != "" && rule.required:
			b.fault(join(path, "not_fitted"), quoted(in.NotFitted), "cannot be: pH, EC, temperature, level and circulation are needed for every dose", "fit one and state its topic")
		case in.NotFitted != "":
			b.waive(path, in, input)
		case in.Stated:
			b.fit(path, in, input)
		case rule.spare:
		case rule.required && minimal:
			b.fit(path, in, input)
		case b.needless(id, rule.quantity) != "":
			input.NotFitted = b.needless(id, rule.quantity)
			b.gate().Inputs = append(b.gate().Inputs, input)
		case minimal:
			input.NotFitted = "not stated"
			b.gate().Inputs = append(b.gate().Inputs, input)
		case rule.required:
			b.fault(path, "", "is missing", fmt.Sprintf("state [tank.input.%s] with its topic, or an empty one for the default topic", rule.name))
		default:
			b.fault(path, "", "is neither given nor waived", fmt.Sprintf("state [tank.input.%s] with its topic or empty for the default one, or with not_fitted = \"why there is none\"", rule.name))
		}
	}
}

// needless says why a tank cannot have an input at all; empty if it can.
func (b *inputs) needless(id dosing.TankID, q dosing.Quantity) string {
	switch q {
	case dosing.QuantityFlood:
		for i := range b.layout.Tanks[id].Zones {
			if b.layout.Tanks[id].Zones[i].Kind == "flood" {
				return ""
			}
		}
		return "no flood zone"
	case dosing.QuantityOutlet:
		for i := range b.gate().Pumps {
			if p := &b.gate().Pumps[i]; p.ServesTank(id) && b.servesOthers(p, id) {
				return ""
			}
		}
		return "no line shared with another tank"
	}
	return ""
}

func (b *inputs) servesOthers(p *dosing.Pump, id dosing.TankID) bool {
	for other := range b.layout.Tanks {
		if dosing.TankID(other) != id && p.ServesTank(dosing.TankID(other)) {
			return true
		}
	}
	return false
}

func (b *inputs) ofStation(name string, in *inputTable, q dosing.Quantity, minimal bool) {
	input := safety.Input{Name: name, Tank: dosing.AllTanks, Quantity: q}
	path := "station." + name
	switch {
	case in.NotFitted != "":
		b.waive(path, in, input)
	case in.Stated:
		b.fit(path, in, input)
	case minimal:
		input.NotFitted = "not stated"
		b.gate().Inputs = append(b.gate().Inputs, input)
	default:
		b.fault(path, "", "is neither given nor waived", fmt.Sprintf("state [station.%s] with its topic or empty for the default one, or with not_fitted = \"why there is none\"", name))
	}
}

func (b *inputs) waive(path string, in *inputTable, input safety.Input) {
	if in.Topic != "" {
		b.fault(join(path, "not_fitted"), quoted(in.NotFitted), "stands beside a topic", "state one of them")
	}
	if len(strings.TrimSpace(in.NotFitted)) < 3 {
		b.fault(join(path, "not_fitted"), quoted(in.NotFitted), "gives no reason", "say in words why there is none")
	}
	input.NotFitted = in.NotFitted
	b.gate().Inputs = append(b.gate().Inputs, input)
}

// plausible ranges and resolutions by quantity.
var plausible = map[dosing.Quantity][3]float64{
	dosing.QuantityPH: {3.5, 9.5, 0.01}, dosing.QuantityEC: {0.05, 10, 0.01}, dosing.QuantityTemperature: {2, 45, 0.1},
	dosing.QuantityRedox: {-500, 1200, 1},
}

// fit adds an input that has a topic.
func (b *inputs) fit(path string, in *inputTable, input safety.Input) {
	input.Period = in.Every.or(5 * time.Second)
	if input.Period < 100*time.Millisecond || input.Period > 2*time.Minute {
		b.fault(join(path, "every"), quoted(in.Every.text), "is out of range", "a reading older than 2min is never used; send every 1s to 60s")
	}
	bounds, ok := plausible[input.Quantity]
	if input.Quantity.Watched() {
		bounds, ok = watchedSteps[input.Quantity], true
	}
	if !ok && !input.Quantity.Switch() {
		bounds = [3]float64{0, 1e6, 1}
		if input.Quantity == dosing.QuantityLevel && int(input.Tank) < len(b.gate().Tanks) {
			bounds = [3]float64{0, max(2*float64(b.gate().Tanks[input.Tank].MaxVolume), 1), 1}
		}
	} else if !ok {
		bounds = [3]float64{0, 1, 1}
	}
	input.Min, input.Max, input.Step = in.Min.or(bounds[0]), in.Max.or(bounds[1]), in.Resolution.or(bounds[2])
	input.Noise = in.Noise.or(0)
	b.units(path, in, input.Quantity)
	input.CalibrateEvery = b.calibrateEvery(path, in, input.Quantity)
	switch {
	case !(input.Min < input.Max):
		b.fault(join(path, "min"), quoted(in.Min.text), "is not below max", "state the range in which a value is plausible")
	case !(input.Step > 0):
		b.fault(join(path, "resolution"), quoted(in.Resolution.text), "is not above zero", "state the smallest step of the value")
	case input.Noise < 0 || input.Noise > (input.Max-input.Min)/10:
		b.fault(join(path, "noise"), quoted(in.Noise.text), "is no noise of a probe", "state the standard deviation measured over ten quiet minutes")
	}
	input.Compensation = b.compensation(path, in, input.Quantity)
	topic := InputTopic{Input: dosing.InputID(len(b.gate().Inputs)), Format: b.format(path, in, input.Quantity), Compensation: input.Compensation}
	b.replace(join(path, "topic"), b.owner(input.Tank)+"reading/"+input.Name, in.Topic)
	b.gate().Inputs = append(b.gate().Inputs, input)
	b.file.InputTopics = append(b.file.InputTopics, topic)
}

// calibrateEvery is after how long a probe's next calibration is due: common practice is
// four weeks for pH and a quarter of a year for EC.
func (b *inputs) calibrateEvery(path string, in *inputTable, q dosing.Quantity) time.Duration {
	const week = 7 * 24 * time.Hour
	usual := map[dosing.Quantity]time.Duration{dosing.QuantityPH: 4 * week, dosing.QuantityEC: 90 * 24 * time.Hour}[q]
	every := in.Calibrate.or(usual)
	switch {
	case in.Calibrate.stated && usual == 0:
		b.fault(join(path, "calibrate_every"), quoted(in.Calibrate.text), "is only for pH and EC", "leave it out")
	case every != 0 && (every < 24*time.Hour || every > 53*week):
		b.fault(join(path, "calibrate_every"), quoted(in.Calibrate.text), "is out of range", "24h to a year, such as 672h for four weeks")
	}
	return every
}

// owner stands before the topics of a tank; those of the station have nothing there.
func (b *inputs) owner(id dosing.TankID) string {
	if int(id) < len(b.layout.Tanks) {
		return b.layout.Tanks[id].Name + "/"
	}
	return ""
}

// units refuses min, max, noise and resolution in another quantity's unit:
// they share one type here.
func (b *inputs) units(path string, in *inputTable, q dosing.Quantity) {
	want := map[dosing.Quantity]string{dosing.QuantityPH: "pH", dosing.QuantityEC: "S/cm", dosing.QuantityTemperature: "°C K",
		dosing.QuantityLevel: "L", dosing.QuantityStockLevel: "L", dosing.QuantityRedox: "mV"}[q]
	if q.Watched() {
		want = q.Unit()
	}
	for _, m := range []struct {
		key   string
		value measured[inputUnitKind]
	}{{"min", in.Min}, {"max", in.Max}, {"noise", in.Noise}, {"resolution", in.Resolution}} {
		if !m.value.stated {
			continue
		}
		unit := strings.TrimSpace(strings.TrimLeft(strings.TrimSpace(m.value.text), "+-−0123456789."))
		fits := false
		for _, w := range strings.Fields(want) {
			fits = fits || strings.HasSuffix(unit, w)
		}
		if !fits {
			b.fault(join(path, m.key), quoted(m.value.text), fmt.Sprintf("has the unit %q, in which %s is not measured", unit, q), "use the quantity's own unit")
		}
	}
}

func (b *inputs) format(path string, in *inputTable, q dosing.Quantity) payload.Format {
	f := payload.Format{Kind: payload.KindPlain, Pointer: in.Pointer, SenMLName: in.Record, TimePointer: in.Time, SequencePointer: in.Sequence,
		TrueWords: in.On, FalseWords: in.Off}
	if in.Format != "" {
		var ok bool
		if f.Kind, ok = payload.ParseKind(in.Format); !ok {
			b.fault(join(path, "format"), quoted(in.Format), "is no format", "write plain, json or senml")
			return f
		}
	}
	text := in.Unit
	if text == "" {
		text = q.Unit()
	}
	unit, err := payload.ParseUnit(q, text)
	if err != nil {
		b.fault(join(path, "unit"), quoted(in.Unit), err.Error(), "")
		return f
	}
	f.Unit = unit
	if err := f.Check(q); err != nil {
		b.fault(join(path, "format"), quoted(in.Format), err.Error(), "")
	}
	return f
}

func (b *inputs) compensation(path string, in *inputTable, q dosing.Quantity) dosing.Compensation {
	path = join(path, "compensation")
	text := strings.TrimSpace(in.Compensation)
	if q != dosing.QuantityPH && q != dosing.QuantityEC {
		if text != "" {
			b.fault(path, quoted(text), "is only for pH and EC", "leave it out")
		}
		return dosing.Compensation{Method: dosing.MethodNone}
	}
	if !in.Stated {
		// Only a minimal file comes here. Nearly every EC meter corrects to 25 °C
		// and nearly no transmitter of pH leaves the slope alone.
		c := dosing.Compensation{Method: dosing.MethodNernst}
		if q == dosing.QuantityEC {
			c = dosing.Compensation{Method: dosing.MethodLinear, PerKelvin: 0.02}
		}
		b.file.Warnings = append(b.file.Warnings, fmt.Sprintf("%s: compensation not stated: %q is taken; state what the probe does, or EC may be read 10 %% wrong at 20 °C", b.label(path), c))
		return c
	}
	if q == dosing.QuantityPH {
		switch text {
		case "none":
			return dosing.Compensation{Method: dosing.MethodNone}
		case "Nernst", "nernst":
			return dosing.Compensation{Method: dosing.MethodNernst}
		case "":
			b.fault(path, "", "is missing", `state whether the probe corrects its slope for temperature: "none" or "Nernst"`)
		default:
			b.fault(path, quoted(text), "is no compensation of a pH probe", `write "none" or "Nernst"`)
		}
		return dosing.Compensation{}
	}
	switch {
	case text == "none":
		return dosing.Compensation{Method: dosing.MethodNone}
	case text == "ISO 7888":
		return dosing.Compensation{Method: dosing.MethodISO7888}
	case strings.HasSuffix(text, "%/K") && (strings.HasPrefix(text, "linear ") || strings.HasPrefix(text, "measured ")):
		word, number, _ := strings.Cut(strings.TrimSuffix(text, "%/K"), " ")
		value, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err == nil && value >= 0.5 && value <= 5 {
			method := dosing.MethodLinear
			if word == "measured" {
				method = dosing.MethodMeasured
			}
			return dosing.Compensation{Method: method, PerKelvin: value / 100}
		}
		b.fault(path, quoted(text), "has no coefficient between 0.5 and 5 %/K", `write for example "linear 2.0 %/K"`)
	case text == "":
		b.fault(path, "", "is missing", `state whether and how the probe corrects to 25 °C: "none", "linear 2.0 %/K" or "ISO 7888"`)
	default:
		b.fault(path, quoted(text), "is no compensation of an EC probe", `write "none", "linear 2.0 %/K", "ISO 7888", or "measured 2.4 %/K" for a raw value`)
	}
	return dosing.Compensation{}
}

// halve marks the tanks whose hourly and daily caps halve because nothing would
// tell of a leak or of a hand on the stop.
func (b *inputs) halve() {
	for _, in := range b.gate().Inputs {
		if in.NotFitted == "" || in.Quantity != dosing.QuantityLeak && in.Quantity != dosing.QuantityStop {
			continue
		}
		for i := range b.gate().Tanks {
			if in.Tank == dosing.AllTanks || in.Tank == dosing.TankID(i) {
				b.gate().Tanks[i].HalvedCaps = true
			}
		}
	}
}
