package sim

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety"
)

// The pumps and tanks of the yard.
const (
	acid dosing.PumpID = iota
	base
	calcium
	sulfate
)

const north, south dosing.TankID = 0, 1

// yardSettings is a farm of our own: one row of acid, base and two stocks for two
// tanks, the larger with a flood bench, a film and a raft.
func yardSettings(tanks int) *controller.Settings {
	pumps := []dosing.Pump{
		{Name: "acid", Node: "row", Role: dosing.RoleAcid, Group: dosing.GroupAcid, PerSecond: 600, MinDose: 300,
			AcidPerML: 1.5, Container: 2 * dosing.Litre, Ions: chem.Totals{NO3: 1500}},
		{Name: "base", Node: "row", Role: dosing.RoleBase, Group: dosing.GroupBase, PerSecond: 600, MinDose: 300,
			AcidPerML: -1, Container: 2 * dosing.Litre, Ions: chem.Totals{K: 1000}},
		{Name: "calcium", Node: "row", Role: dosing.RoleStock, Group: dosing.GroupCalcium, PerSecond: 15000, MinDose: 5000,
			ECPerML: 0.2, Share: 0.5, MacroIon: true, Container: 60 * dosing.Litre, Ions: chem.Totals{Ca: 600, NO3: 1300, NH4: 100}},
		{Name: "sulfate", Node: "row", Role: dosing.RoleStock, Group: dosing.GroupSulfate, PerSecond: 15000, MinDose: 5000,
			ECPerML: 0.2, Share: 0.5, MacroIon: true, Container: 60 * dosing.Litre, Ions: chem.Totals{K: 900, NO3: 500, P: 200, SO4: 250, Mg: 150}},
	}
	s := &controller.Settings{Version: "yard", ControlPeriod: 10 * time.Second}
	s.Safety = safety.Settings{Station: "row", Pumps: pumps, Nodes: []safety.Node{{Name: "row", FullContract: true}}, PumpNode: make([]safety.NodeID, len(pumps))}
	for range pumps {
		s.Safety.Caps = append(s.Safety.Caps, safety.Caps{PerDose: 600 * dosing.Millilitre, PerHour: 3 * dosing.Litre, PerDay: 20 * dosing.Litre, OnTime: 40 * time.Second})
	}
	s.Safety.Caps[acid].PerHour = 60 * dosing.Millilitre
	for id, name := range []string{"north", "south"}[:tanks] {
		litres := []dosing.Litres{1400, 180}[id]
		s.Safety.Tanks = append(s.Safety.Tanks, safety.Tank{Tank: dosing.Tank{Name: name, Volume: litres, MinVolume: litres * 0.6, MaxVolume: litres * 1.1,
			DeadTime: 40 * time.Second, TimeConstant: 80 * time.Second, Phosphate: 1.2, Carbonate: 0.6, TopUp: dosing.Water{Alkalinity: 2, EC: 0.3}}})
		t := controller.TankSettings{PH: controller.SetpointSettings{Value: 5.8}, EC: controller.SetpointSettings{Value: 1.8}, GasExchange: controller.UsualTankExchange}
		if id == 0 {
			t.Zones = []controller.Zone{{Name: "bench", Kind: controller.ZoneFlood, Litres: 250}, {Name: "channels", Kind: controller.ZoneFilm, Litres: 30},
				{Name: "pond", Kind: controller.ZoneRaft, Litres: 200}}
			for i := range t.Zones {
				t.Zones[i].GasExchange, t.Zones[i].Exchange = t.Zones[i].Kind.UsualGasExchange(), t.Zones[i].Kind.UsualExchange()
			}
		}
		s.Tanks = append(s.Tanks, t)
		for q := dosing.QuantityPH; q < dosing.QuantityStop; q++ {
			s.Safety.Inputs = append(s.Safety.Inputs, safety.Input{Name: name + " " + q.String(), Tank: dosing.TankID(id), Quantity: q, Period: 5 * time.Second})
		}
	}
	s.Safety.Inputs = append(s.Safety.Inputs, safety.Input{Name: "stop", Tank: dosing.AllTanks, Quantity: dosing.QuantityStop, Period: 5 * time.Second})
	for p := range pumps {
		s.Safety.Inputs = append(s.Safety.Inputs, safety.Input{Name: pumps[p].Name + " left", Tank: dosing.AllTanks, Quantity: dosing.QuantityStockLevel, Pump: dosing.PumpID(p), Period: 5 * time.Second})
	}
	return s
}

// yard is a farm with somebody who plays the daemon by hand: reads everything,
// renews the lease, sends orders in the words of the topic table.
type yard struct {
	t        testing.TB
	farm     *Farm
	settings *controller.Settings
	now      time.Duration
	epoch    int
	number   int
	beat     int
	lease    bool
	reports  []controller.Report
	boot     string
	tick     time.Duration
	idle     bool
	last     *controller.Report
	beats    int
	sent     map[string]string // last body by topic
	count    map[string]int
	leased   time.Duration
}

func newYard(t testing.TB, tanks int, o Options) *yard {
	t.Helper()
	return newYardOf(t, yardSettings(tanks), o)
}

func newYardOf(t testing.TB, settings *controller.Settings, o Options) *yard {
	t.Helper()
	var names []string
	for _, tank := range settings.Safety.Tanks {
		names = append(names, tank.Name)
	}
	topics, err := payload.NewTopics("", "row", names, nil)
	if err != nil {
		t.Fatal(err)
	}
	var wires []Wire
	for i := range settings.Safety.Inputs {
		in := &settings.Safety.Inputs[i]
		wires = append(wires, Wire{Topic: topics.Reading(in.Tank, in.Name)})
	}
	farm, err := New(settings, topics, wires, o)
	if err != nil {
		t.Fatal(err)
	}
	y := &yard{t: t, farm: farm, settings: settings, epoch: 7, lease: true, sent: map[string]string{}, count: map[string]int{}}
	farm.Connected(true)
	return y
}

func (y *yard) hear(topic string, qos byte, retained bool, body []byte) {
	if retained {
		y.t.Errorf("%s: the farm retains %s", topic, body)
	}
	y.sent[topic] = string(body)
	y.count[topic]++
	switch {
	case strings.Contains(topic, "/report/"):
		if qos != 1 {
			y.t.Errorf("a report goes with QoS %d", qos)
		}
		r, err := payload.ParseReport(body)
		if err != nil {
			y.t.Fatalf("%s: %s: %v", topic, body, err)
		}
		y.reports = append(y.reports, r)
	case strings.Contains(topic, "/node/"):
		h, err := payload.ParseHeartbeat(body)
		if err != nil {
			y.t.Fatalf("%s: %s: %v", topic, body, err)
		}
		y.boot, y.tick, y.idle, y.last = h.Boot, h.Tick, h.Idle, h.Last
		y.beats++
	}
}

// wait lets time pass, second by second as the demo's clock does.
func (y *yard) wait(d time.Duration) {
	for end := y.now + d; y.now < end; {
		y.now = min(end, y.now+time.Second)
		y.farm.Advance(y.now, y.hear)
		if y.lease && y.now-y.leased >= 2*time.Second {
			y.leased = y.now
			y.renew(y.epoch, 0)
		}
	}
}

// renew sends a lease; beat 0 is the next one.
func (y *yard) renew(epoch, beat int) {
	if beat == 0 {
		y.beat++
		beat = y.beat
	}
	y.receive("leat/row/lease", fmt.Sprintf(`{"epoch":%d,"beat":%d}`, epoch, beat))
}

func (y *yard) receive(topic, body string) { y.farm.Receive(topic, []byte(body), y.hear) }

// order is one order before it is sent.
type order struct {
	number, epoch int
	pump          dosing.PumpID
	tank          dosing.TankID
	ml            float64
	run           time.Duration
	boot          string
	before        time.Duration
}

// plan makes the next order for a dose as the daemon would.
func (y *yard) plan(pump dosing.PumpID, tank dosing.TankID, ml float64) order {
	y.number++
	rate := y.settings.Safety.Pumps[pump].PerSecond
	return order{number: y.number, epoch: y.epoch, pump: pump, tank: tank, ml: ml, run: dosing.FromMillilitres(ml).RunTime(rate), boot: y.boot, before: y.tick + 10*time.Second}
}

func (y *yard) send(o order) {
	y.receive("leat/row/order/"+y.settings.Safety.Pumps[o.pump].Name, fmt.Sprintf(
		`{"order":"%d-%06d","outlet":%q,"volume_ml":%g,"run_ms":%d,"boot":%q,"before_tick_ms":%d,"expires":"2026-01-01T02:03:04Z"}`,
		o.epoch, o.number, y.settings.Safety.Tanks[o.tank].Name, o.ml, o.run.Milliseconds(), o.boot, o.before.Milliseconds()))
}

// dose orders a dose and waits until it is over.
func (y *yard) dose(pump dosing.PumpID, tank dosing.TankID, ml float64) {
	y.t.Helper()
	o := y.plan(pump, tank, ml)
	y.send(o)
	y.wait(o.run + time.Second)
	y.mustEnd(controller.PhaseDone)
}

func (y *yard) lastReport() controller.Report {
	y.t.Helper()
	if len(y.reports) == 0 {
		y.t.Fatal("no report came")
	}
	return y.reports[len(y.reports)-1]
}

func (y *yard) mustEnd(phase controller.Phase) controller.Report {
	y.t.Helper()
	r := y.lastReport()
	if r.Phase != phase {
		y.t.Fatalf("the order ended %s (%s), want %s", r.Phase, r.Cause, phase)
	}
	return r
}

func (y *yard) mustRefuse(cause string) {
	y.t.Helper()
	r := y.mustEnd(controller.PhaseRefused)
	if r.Cause != cause {
		y.t.Fatalf("refused for %q, want %q", r.Cause, cause)
	}
}

// read is the last value of an input.
func (y *yard) read(name string) float64 {
	y.t.Helper()
	for i := range y.settings.Safety.Inputs {
		in := &y.settings.Safety.Inputs[i]
		if in.Name != name {
			continue
		}
		owner := ""
		if in.Tank != dosing.AllTanks {
			owner = y.settings.Safety.Tanks[in.Tank].Name + "/"
		}
		v, err := strconv.ParseFloat(y.sent["leat/row/"+owner+"reading/"+name], 64)
		if err != nil {
			y.t.Fatalf("%s: %v", name, err)
		}
		return v
	}
	y.t.Fatalf("no input %q", name)
	return 0
}

func near(t testing.TB, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.6g, want %.6g within %.3g", what, got, want, within)
	}
}
