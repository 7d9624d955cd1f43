package controller_test

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/ratio"
	"leat/safety"
	"leat/safety/ledger"
)

// verb is one way to write what comes in.
type verb struct {
	pattern *regexp.Regexp
	read    func(parts []string) (deed, error)
}

const (
	nightEnds = "the night ends"
	aNumber   = `(-?[0-9]+(?:\.[0-9]+)?)`
	aTime     = `([0-9][0-9hms]*)`
	aPump     = `(acid|base|calcium|phosphate)`
	aProbe    = `(pH|pH 1|pH 2|EC|temperature|level|circulation|leak|drip tray|top-up|flood|outlet|sample flow|stop|level of calcium|oxygen|filter pressure|line flow|UV intensity|lamp hours|bench level|channels flow)`
)

// verbs are all that can come in.
var verbs = []verb{
	line(`leat starts|`+nightEnds, func([]string) (deed, error) { return func(*player) error { return nil }, nil }),
	line(aProbe+` reads `+aNumber, reads(false)),
	line(aProbe+` stands still at `+aNumber, reads(true)),
	line(aProbe+` goes to `+aNumber+` within `+aTime, goesTo),
	line(aProbe+` sends (nothing|NaN)`, sends),
	line(`pH reads `+aNumber+` more while a pump runs`, func(p []string) (deed, error) {
		by, err := number(p[0])
		return func(n *player) error { n.loaded = by; return nil }, err
	}),
	line(`(pH|EC) answers doses `+aNumber+` times as late as commissioned`, func(p []string) (deed, error) {
		late, err := number(p[1])
		q := map[string]dosing.Quantity{"pH": dosing.QuantityPH, "EC": dosing.QuantityEC}[p[0]]
		return func(n *player) error { n.answers[q] = late; return nil }, err
	}),
	line(aPump+` does `+aNumber+` times what it should`, func(p []string) (deed, error) {
		times, err := number(p[1])
		return do(func(n *player) { n.does[pumpOf(p[0])] = times }), err
	}),
	line(`([A-Z][a-z]+) asks ([a-z-]+)((?: [^:]+)?)(?:: (.+))?`, asks),
	line(`fault ([a-z-]+)(?: for `+aTime+`)?`, faults),
	line(`the node (restarts|says it is busy|is idle again)`, nodes),
	line(`the supply is closed again`, func([]string) (deed, error) { return do(func(n *player) { n.farm.RestoreSupply() }), nil }),
	line(`the node allows `+aPump+` runs of `+aTime, nodeLimit),
	line(`somebody reports `+aNumber+` mL of order (\d+)-(\d+) (done|stopped|refused)`, reports),
	line(`the next order does not leave`, func([]string) (deed, error) { return do(func(n *player) { n.keepBack = true }), nil }),
	line(`the link (breaks|is back)`, func(p []string) (deed, error) {
		return do(func(n *player) { n.SetLink(p[0] == "is back") }), nil
	}),
	line(`the disk (fails|is full|has room again|is slow|is fast again)`, disks),
	line(`another controller (speaks|falls silent)`, func(p []string) (deed, error) {
		return do(func(n *player) { n.Step(controller.Event{Kind: controller.EventOther, Up: p[0] == "speaks"}) }), nil
	}),
	line(`uptime goes back by `+aTime, uptime),
	line(`leat (crashes|ends), and starts `+aTime+` later( on a copy from `+aTime+` before| on an empty ledger| on a copy from `+aTime+` before, put back with leat ledger restore)?`, starts),
	line(`settings: the smallest dose of `+aPump+` is `+aNumber+` mL`, pumpSetting(func(c *controller.Settings, p dosing.PumpID, v float64) {
		c.Safety.Pumps[p].MinDose = dosing.FromMillilitres(v)
	})),
	line(`settings: one dose of `+aPump+` may be `+aNumber+` mL`, pumpSetting(func(c *controller.Settings, p dosing.PumpID, v float64) {
		c.Safety.Caps[p].PerDose, c.Safety.Caps[p].OnTime = dosing.FromMillilitres(v), time.Minute
	})),
	line(`settings: `+aPump+` may run `+aNumber+` s`, pumpSetting(func(c *controller.Settings, p dosing.PumpID, v float64) {
		c.Safety.Caps[p].OnTime = time.Duration(v * float64(time.Second))
	})),
	line(`settings: `+aPump+` may give `+aNumber+` mL an hour`, pumpSetting(func(c *controller.Settings, p dosing.PumpID, v float64) {
		c.Safety.Caps[p].PerHour = dosing.FromMillilitres(v)
	})),
	line(`settings: `+aPump+` may give `+aNumber+` mL a day`, pumpSetting(func(c *controller.Settings, p dosing.PumpID, v float64) {
		c.Safety.Caps[p].PerDay = dosing.FromMillilitres(v)
	})),
	line(`settings: a valve of `+aNumber+` L a minute fills north from `+aNumber+` L to `+aNumber+` L, and it runs over at `+aNumber+` L`, valveSetting),
	line(`settings: the container of `+aPump+` is not known`, func(p []string) (deed, error) {
		return setting(func(c *controller.Settings) { c.Safety.Pumps[pumpOf(p[0])].Container = 0 }), nil
	}),
	line(`settings: the least level is `+aNumber+` L`, func(p []string) (deed, error) {
		v, err := number(p[0])
		return setting(func(c *controller.Settings) { c.Safety.Tanks[north].MinVolume = dosing.Litres(v) }), err
	}),
	line(`settings: stage ([a-z]+) from `+aTime+` has EC `+aNumber+`(?: over `+aTime+`)?`, func(p []string) (deed, error) {
		from, err := passing(p[1])
		ec, _ := number(p[2])
		over := time.Duration(0)
		if p[3] != "" {
			over, _ = passing(p[3])
		}
		return scheduling(func(s *controller.Schedule) {
			s.Stages = append(s.Stages, controller.Stage{Name: p[0], From: evening.Add(from), EC: ec, Over: over})
		}), err
	}),
	line(`settings: holiday ([a-z]+) from `+aTime+` to `+aTime+` has EC `+aNumber, func(p []string) (deed, error) {
		from, err := passing(p[1])
		to, _ := passing(p[2])
		ec, _ := number(p[3])
		return scheduling(func(s *controller.Schedule) {
			s.Holidays = append(s.Holidays, controller.Holiday{Name: p[0], From: evening.Add(from), To: evening.Add(to), EC: ec})
		}), err
	}),
	line(`settings: leat floods the bench (\d+) times a day for `+aTime, func(p []string) (deed, error) {
		times, err := strconv.Atoi(p[0])
		length, _ := passing(p[1])
		return setting(func(c *controller.Settings) {
			c.Tanks[north].Zones[0].Own = controller.Watering{ByDay: times, Length: length}
		}), err
	}),
	line(`the bench's node (falls silent|speaks again)`, func(p []string) (deed, error) {
		return do(func(n *player) {
			topic := n.file.Topics.ZoneReport(north, "bench")
			delete(n.taps, topic)
			if p[0] == "falls silent" {
				n.taps[topic] = func([]byte) []byte { return nil }
			}
		}), nil
	}),
	line(`settings: a tank that was armed is armed again after a restart`, func([]string) (deed, error) {
		return setting(func(c *controller.Settings) { c.ReArm = true }), nil
	}),
}

func line(pattern string, read func([]string) (deed, error)) verb {
	return verb{regexp.MustCompile(`^(?:` + pattern + `)$`), read}
}

func do(f func(*player)) deed { return func(n *player) error { f(n); return nil } }

func number(text string) (float64, error) { return strconv.ParseFloat(text, 64) }

func passing(text string) (time.Duration, error) {
	d, err := time.ParseDuration(text)
	if err == nil && d <= 0 || d > 100*time.Hour {
		err = fmt.Errorf("%s is no time that passes in a night", text)
	}
	return d, err
}

func pumpOf(name string) dosing.PumpID {
	return dosing.PumpID(slices.Index([]string{"acid", "base", "calcium", "phosphate"}, name))
}

// probesOf are the inputs that a line names: pH alone means both of its probes.
func probesOf(name string) []string {
	switch name {
	case "pH":
		return []string{"ph", "ph_2"}
	case "pH 1":
		return []string{"ph"}
	}
	return []string{strings.NewReplacer(" ", "_", "-", "_").Replace(strings.ToLower(name))}
}

func reads(still bool) func([]string) (deed, error) {
	return func(p []string) (deed, error) {
		v, err := number(p[1])
		return do(func(n *player) {
			for _, name := range probesOf(p[0]) {
				*n.wires[name] = wire{value: v, still: still}
			}
		}), err
	}
}

func goesTo(p []string) (deed, error) {
	to, err := number(p[1])
	if err != nil {
		return nil, err
	}
	within, err := passing(p[2])
	return do(func(n *player) {
		for _, name := range probesOf(p[0]) {
			w := n.wires[name]
			*w = wire{from: w.at(n.clock), value: to, begins: n.clock, ends: n.clock + within}
		}
	}), err
}

func sends(p []string) (deed, error) {
	return do(func(n *player) {
		for _, name := range probesOf(p[0]) {
			w := n.wires[name]
			w.silent, w.broken = p[1] == "nothing", p[1] == "NaN"
		}
	}), nil
}

var (
	setpointWords  = regexp.MustCompile(`^ (pH|EC) ` + aNumber + `( again)?$`)
	handWords      = regexp.MustCompile(`^ ` + aNumber + ` mL of ` + aPump + `( again)?$`)
	calibrateWords = regexp.MustCompile(`^ ([a-z_0-9]+) (begin|read|accept|cancel|entered)(?: in (\S+) of ` + aNumber + ` °C)?$`)
	causeWords     = regexp.MustCompile(`^ ([a-z-]+)(?: for ` + aTime + `)?$`)
)

// asks is a person's request, with its words after the kind.
func asks(p []string) (deed, error) {
	kind, ok := controller.ParseRequestKind(p[1])
	if !ok {
		return nil, fmt.Errorf("nothing is known that comes in as a request %q", p[1])
	}
	r := controller.Request{Kind: kind, Tank: north, By: p[0], From: "page", Role: controller.RoleEngineer, Note: p[3]}
	again := false
	switch {
	case kind == controller.RequestFill && p[2] == " again":
		again = true
	case p[2] == "" || kind == controller.RequestVoid && p[2] == " last":
	case kind == controller.RequestSetpoint && setpointWords.MatchString(p[2]):
		words := setpointWords.FindStringSubmatch(p[2])
		r.Quantity, again = dosing.QuantityPH, words[3] != ""
		if words[1] == "EC" {
			r.Quantity = dosing.QuantityEC
		}
		r.Value, _ = number(words[2])
	case (kind == controller.RequestHandDose || kind == controller.RequestRefill) && handWords.MatchString(p[2]):
		words := handWords.FindStringSubmatch(p[2])
		v, _ := number(words[1])
		r.Volume, r.Pump, again = dosing.FromMillilitres(v), pumpOf(words[2]), words[3] != ""
	case kind == controller.RequestCalibrate && calibrateWords.MatchString(p[2]):
		words := calibrateWords.FindStringSubmatch(p[2])
		r.Calibrating = controller.Calibrating{Probe: words[1], Step: words[2], Standard: words[3]}
		r.Calibrating.Celsius, _ = number(cmp.Or(words[4], "25"))
		if r.Calibrating.Step == "entered" {
			r.Calibrating.Found, r.Note = p[3], ""
		}
	case (kind == controller.RequestAcknowledge || kind == controller.RequestShelve) && causeWords.MatchString(p[2]):
		words := causeWords.FindStringSubmatch(p[2])
		if r.Cause, ok = safety.ParseCause(words[1]); !ok {
			return nil, fmt.Errorf("nothing is known that comes in as a cause %q", words[1])
		}
		if words[2] != "" {
			var err error
			if r.For, err = passing(words[2]); err != nil {
				return nil, err
			}
		}
	case tends(&r, p[2]):
	default:
		return nil, fmt.Errorf("nothing is known that comes in as %q of a request %s", p[2], p[1])
	}
	voidsLast := kind == controller.RequestVoid && p[2] == " last"
	if kind == controller.RequestRaiseEpoch {
		r.From = "socket user 1000"
	}
	if kind == controller.RequestConfirmWater && p[2] == "" {
		r.Water = ratio.WaterSame
	}
	return do(func(n *player) {
		asked := r
		if again {
			asked.Confirm = n.confirm
		}
		if hands := n.view(north).Hands; voidsLast && len(hands) > 0 {
			asked.Entry = hands[0].Name
		}
		n.Ask(asked)
	}), nil
}

func faults(p []string) (deed, error) {
	known := slices.ContainsFunc(sim.Faults(), func(f sim.Fault) bool { return f.Name == p[0] && !f.Outside })
	if !known {
		return nil, fmt.Errorf("no fault %q", p[0])
	}
	within, err := time.Duration(0), error(nil)
	if p[1] != "" {
		within, err = passing(p[1])
	}
	return func(n *player) error {
		return n.farm.Inject(sim.Injection{Fault: p[0], At: n.farm.Truth(north).At, For: within})
	}, err
}

func nodes(p []string) (deed, error) {
	return do(func(n *player) {
		switch p[0] {
		case "restarts":
			n.farm.Reboot(0)
		default:
			n.busy("pumps", p[0] == "says it is busy")
		}
	}), nil
}

func nodeLimit(p []string) (deed, error) {
	d, err := passing(p[1])
	return do(func(n *player) { n.farm.LimitRun(pumpOf(p[0]), d) }), err
}

func reports(p []string) (deed, error) {
	volume, err := number(p[0])
	if err != nil {
		return nil, err
	}
	epoch, err := strconv.ParseUint(p[1], 10, 32)
	if err != nil {
		return nil, err
	}
	order, err := strconv.ParseUint(p[2], 10, 32)
	phase, _ := controller.ParsePhase(p[3])
	return do(func(n *player) {
		id := ledger.OrderID{Epoch: uint32(epoch), Number: uint32(order)}
		pump := n.pumpOfOrder[id]
		r := controller.Report{Order: id, Pump: pump, Phase: phase, Volume: dosing.FromMillilitres(volume)}
		r.Run = r.Volume.RunTime(n.file.Settings.Safety.Pumps[pump].PerSecond)
		n.Step(controller.Event{Kind: controller.EventReport, Report: &r})
	}), err
}

func disks(p []string) (deed, error) {
	return do(func(n *player) {
		switch p[0] {
		case "fails":
			n.store.FailNth(1, ledger.FaultFailed)
		case "is full":
			for i := 1; i < 1000; i++ {
				n.store.FailNth(i, ledger.FaultFull)
			}
		case "has room again":
			n.store.Heal()
		case "is slow":
			n.SlowDisk = true
		case "is fast again":
			n.SlowDisk = false
			n.Sync()
		}
	}), nil
}

func uptime(p []string) (deed, error) {
	by, err := passing(p[0])
	return do(func(n *player) {
		back := dosing.Instant{Wall: n.Now().Wall, Up: n.Now().Up - by}
		e := controller.Event{Kind: controller.EventLink, Up: true}
		out := n.Core.Step(back, &e)
		for _, notice := range out.Notices {
			n.notices = append(n.notices, noted{back, notice})
		}
		n.seen(back, &e, out)
	}), err
}

// starts ends leat, in order or not, and starts it again on its ledger, on an older
// copy of it, or on none.
func starts(p []string) (deed, error) {
	later, err := passing(p[1])
	if err != nil {
		return nil, err
	}
	before := time.Duration(0)
	if age := p[3] + p[4]; age != "" {
		if before, err = passing(age); err != nil {
			return nil, err
		}
	}
	return func(n *player) error {
		if p[0] == "ends" {
			n.Step(controller.Event{Kind: controller.EventEnding})
		}
		n.flush()
		switch {
		case p[2] == " on an empty ledger":
			n.store, n.rows = &ledger.Memory{}, 0
		case before > 0:
			if err := n.putBack(n.clock-before, p[4] != ""); err != nil {
				return err
			}
		}
		n.clock += later
		n.store.Reopen()
		n.start(n.t, n.Now().Wall.Add(later), n.attend)
		return nil
	}, nil
}

// setting gives leat changed settings, or changes those it will start with.
func setting(change func(*controller.Settings)) deed {
	return do(func(n *player) {
		if n.Night == nil {
			change(&n.file.Settings)
			return
		}
		n.reconfigure(change)
	})
}

// scheduling changes the schedule of the tank.
func scheduling(change func(*controller.Schedule)) deed {
	return setting(func(c *controller.Settings) {
		s := &c.Tanks[north].Schedule
		s.Zone = time.UTC
		change(s)
	})
}

func pumpSetting(change func(*controller.Settings, dosing.PumpID, float64)) func([]string) (deed, error) {
	return func(p []string) (deed, error) {
		v, err := number(p[1])
		return setting(func(c *controller.Settings) { change(c, pumpOf(p[0]), v) }), err
	}
}

// valveSetting gives the tank a valve that leat opens.
func valveSetting(p []string) (deed, error) {
	var v [4]float64
	for i := range v {
		var err error
		if v[i], err = number(p[i]); err != nil {
			return nil, err
		}
	}
	return setting(func(c *controller.Settings) {
		s := &c.Safety
		s.Pumps = append(s.Pumps, dosing.Pump{Name: "fill", Node: "pumps", Role: dosing.RoleWater, Reagent: "source water",
			PerSecond: dosing.FromMillilitres(1000 * v[0] / 60), MinDose: 100 * dosing.Millilitre})
		s.Caps = append(s.Caps, safety.Caps{PerDose: 10 * dosing.Litre, PerHour: 100 * dosing.Litre, PerDay: 600 * dosing.Litre, OnTime: time.Minute})
		s.PumpNode = append(s.PumpNode, 0)
		s.Tanks[north].TopUpBand = safety.TopUpBand{Low: dosing.Litres(v[1]), High: dosing.Litres(v[2]), Overflow: dosing.Litres(v[3])}
	}), nil
}

// wire is what a probe or switch reads, as the file says.
type wire struct {
	from, value  float64
	begins, ends time.Duration // of the way from one to the other
	still        bool          // does not waver by its noise
	silent       bool
	broken       bool // sends NaN
	sent         int
}

func (w *wire) at(clock time.Duration) float64 {
	if clock >= w.ends {
		return w.value
	}
	return w.from + (w.value-w.from)*float64(clock-w.begins)/float64(w.ends-w.begins)
}

// waver is a probe's noise: small, the same in every night, and never at rest.
var waver = [...]float64{0, 1, -0.5, 0.5, -1, 0.5, -0.5}

func (w *wire) body(clock time.Duration, noise, more float64) []byte {
	w.sent++
	v := w.at(clock) + more
	if !w.still {
		v += noise * waver[w.sent%len(waver)]
	}
	switch {
	case w.silent:
		return nil
	case w.broken:
		return []byte("NaN")
	}
	return strconv.AppendFloat(nil, math.Round(v*1000)/1000, 'f', -1, 64)
}
