package sim

import (
	"math"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
)

// seen is what the yard shows of one fault: what the probes, the node and the tank
// did with it and, on the same seed, without it.
type seen struct {
	t           *testing.T
	with, plain *yard
	begun       Truth // the water when the fault began
}

// shows says, for each fault, what must show of it. The fault begins after 30 minutes; each check runs on from there.
var shows = map[string]func(s seen){
	"circulation-off": func(s seen) {
		s.acidify()
		s.wait(20 * time.Minute)
		s.same("pH seen by the probe", s.with.read("north ph"), s.begun.PH, 0.03)
		s.want(s.ph() > 0.05, "the bulk gets the dose though nothing moves it")
		s.want(s.with.read("north circulation") == 0 && s.plain.read("north circulation") == 1, "the flow switch does not tell")
		s.want(s.scatter(s.with) < 0.5*s.scatter(s.plain), "standing water scatters as much as moving water")
	},
	"probe-flat": func(s seen) {
		first := s.with.sent["leat/row/north/reading/north ph"]
		for range 120 {
			s.wait(5 * time.Second)
			s.want(s.with.sent["leat/row/north/reading/north ph"] == first, "the value moves")
		}
	},
	"acid-empty": func(s seen) {
		s.dose(acid, 10)
		s.want(s.with.lastReport().Phase == controller.PhaseDone, "the node does not report the run")
		s.want(s.with.farm.Delivered(acid) == 0 && s.plain.farm.Delivered(acid) > 0, "acid came")
		s.want(s.with.read("acid left") == 0, "the level of the container does not tell")
	},
	"node-reboot": func(s seen) {
		boot := s.with.boot
		s.dose(acid, 20)
		s.wait(10 * time.Second)
		s.want(s.with.boot != boot, "the boot id is the old one")
		s.want(s.with.farm.Delivered(acid) < s.plain.farm.Delivered(acid), "the dose was given in full")
	},
	"pump-stuck-on": func(s seen) {
		s.wait(10 * time.Minute)
		s.want(s.with.idle, "the node does not believe itself idle")
		s.want(s.ph() < -0.3, "pH does not fall without a dose")
	},
	"pump-dead":   func(s seen) { s.dose(acid, 10); s.want(s.with.farm.Delivered(acid) == 0, "acid came") },
	"stock-empty": func(s seen) { s.dose(calcium, 100); s.want(s.with.farm.Delivered(calcium) == 0, "stock came") },
	"air-lock": func(s seen) {
		s.dose(acid, 3)
		s.want(s.share(acid) < 0.55, "the first dose is whole")
		for range 6 {
			s.dose(acid, 3)
		}
		before := s.with.farm.Delivered(acid)
		s.dose(acid, 3)
		s.same("dose after it has passed, mL", (s.with.farm.Delivered(acid) - before).Millilitres(), 3, 0.2)
	},
	"tube-worn": func(s seen) {
		s.wait(10 * time.Hour)
		s.dose(acid, 10)
		s.same("share delivered", s.share(acid), 0.8, 0.02)
	},
	"over-delivery": func(s seen) { s.dose(acid, 10); s.same("share delivered", s.share(acid), 1.3, 0.02) },
	"siphon": func(s seen) {
		s.wait(time.Hour)
		s.same("mL that ran through", s.with.farm.Delivered(acid).Millilitres(), 60, 0.5)
		s.want(s.ph() < -0.05, "pH does not fall")
	},
	"stock-weak":       func(s seen) { s.stock(0.4) },
	"stock-strong":     func(s seen) { s.stock(5) },
	"stock-cold":       func(s seen) { s.stock(0.6) },
	"stock-made-wrong": func(s seen) { s.stock(1.4) },
	"stock-biofilm": func(s seen) {
		s.wait(10 * time.Hour)
		s.dose(calcium, 200)
		s.same("share delivered", s.share(calcium), 0.9, 0.02)
	},
	"acid-base-swapped": func(s seen) {
		s.acidify()
		s.wait(15 * time.Minute)
		s.want(s.ph() > 0.1, "acid still lowers pH")
		before := s.ph()
		s.dose(base, 24)
		s.wait(15 * time.Minute)
		s.want(s.ph() < before, "base still raises pH")
	},
	"stock-in-acid-line": func(s seen) {
		s.dose(acid, 24)
		s.wait(15 * time.Minute)
		s.want(s.ph() > 0.05, "the acid line still lowers pH")
		s.want(s.with.farm.Truth(north).Ions.Ca > s.plain.farm.Truth(north).Ions.Ca+0.005, "no calcium came")
	},
	"line-burst": func(s seen) {
		s.dose(acid, 10)
		s.wait(10 * time.Second)
		s.want(s.with.farm.Truth(north).Delivered[acid] == 0 && s.with.farm.Delivered(acid) > 0, "the dose is not on the floor")
		s.want(s.with.read("north leak") == 1, "the tray does not tell")
	},
	"injection-clogged": func(s seen) { s.dose(acid, 10); s.same("share delivered", s.share(acid), 0.1, 0.02) },
	"siphon-back": func(s seen) {
		s.wait(time.Hour)
		s.same("litres more in the container", s.with.read("calcium left")-s.plain.read("calcium left"), 0.3, 0.03)
		s.stock(0.995)
	},
	"ph-dry": func(s seen) {
		s.wait(40 * time.Minute)
		s.same("pH shown", s.mean(s.with), 7, 0.15)
		s.want(s.scatter(s.with) > 2.5*s.scatter(s.plain), "it does not scatter")
	},
	"ph-coated": func(s seen) {
		s.acidify()
		s.wait(time.Minute)
		s.want(s.mean(s.with) > s.mean(s.plain)+0.03, "it follows as fast as a clean one")
	},
	"ph-glass-broken": func(s seen) {
		s.dose(acid, 20)
		s.wait(15 * time.Minute)
		s.same("pH shown", s.mean(s.with), 7, 0.02)
	},
	"ph-drift": func(s seen) {
		s.wait(4 * time.Hour)
		s.same("drift in four hours", s.mean(s.with)-s.mean(s.plain), -0.2, 0.02)
	},
	"ground-loop": func(s seen) {
		s.with.send(s.with.plan(acid, north, 20))
		s.with.wait(20 * time.Second)
		running := s.with.read("north ph")
		s.with.wait(40 * time.Second)
		s.same("step while the pump ran", running-s.with.read("north ph"), 0.4, 0.08)
	},
	"ec-bubble": func(s seen) {
		s.wait(time.Minute)
		s.same("EC shown ÷ true", s.with.read("north ec")/s.with.farm.Truth(north).EC, 0.7, 0.02)
		s.same("level", s.with.read("north level"), s.plain.read("north level"), 3)
	},
	"temperature-failed": func(s seen) { s.wait(time.Minute); s.same("°C shown", s.with.read("north temperature"), 85, 0.5) },
	"ph-unplugged":       func(s seen) { s.wait(time.Minute); s.same("pH shown", s.with.read("north ph"), 14, 0) },
	"ph-silent": func(s seen) {
		before := s.with.count["leat/row/north/reading/north ph"]
		s.wait(10 * time.Minute)
		s.want(s.with.count["leat/row/north/reading/north ph"] == before, "it still sends")
		s.want(s.with.count["leat/row/north/reading/north ec"] > before, "the others fell silent too")
	},
	"wild-sample": func(s seen) {
		s.wait(time.Minute)
		s.want(len(s.with.farm.Wild()) == 1 && len(s.plain.farm.Wild()) == 0, "no sample was wild, or more than one")
		wild := s.with.farm.Wild()
		s.wait(10 * time.Minute)
		s.want(len(s.with.farm.Wild()) == 1 && wild[0].At >= 30*time.Minute, "it did not stay at one")
	},
	"ph-not-a-number": func(s seen) {
		s.wait(time.Minute)
		s.want(s.with.sent["leat/row/north/reading/north ph"] == "NaN", "it sends a number")
	},
	"ec-in-microsiemens": func(s seen) { s.wait(time.Minute); s.same("EC shown", s.with.read("north ec"), 1800, 100) },
	"level-failed-high": func(s seen) {
		s.wait(time.Hour)
		s.same("litres shown", s.with.read("north level"), 1400, 3)
	},
	"level-failed-low": func(s seen) { s.wait(time.Minute); s.same("litres shown", s.with.read("north level"), 70, 3) },
	"sample-cell-closed": func(s seen) {
		s.acidify()
		s.wait(15 * time.Minute)
		s.same("pH shown", s.mean(s.with), s.begun.PH, 0.02)
		s.want(s.with.farm.Truth(north).PH < s.begun.PH-0.03, "the water itself did not change")
		s.want(s.with.read("north sample_flow") == 0 && s.with.read("north circulation") == 1, "the switches do not tell")
		s.want(s.scatter(s.with) > 0.5*s.scatter(s.plain), "the readings are not fresh")
	},
	"probe-in-plume": func(s seen) {
		s.dose(acid, 20)
		s.want(s.ph() < -0.01, "nothing of the dose shows at once")
	},
	"mixing-fast": func(s seen) {
		s.dose(acid, 20)
		s.wait(2 * time.Minute)
		s.want(s.ph() < -0.01, "the dose arrives no sooner than commissioned")
		s.wait(30 * time.Minute)
		s.same("pH at the end", s.ph(), 0, 0.01)
	},
	"power-strip": func(s seen) {
		first := s.with.sent["leat/row/north/reading/north ph"]
		s.wait(10 * time.Minute)
		s.want(s.with.sent["leat/row/north/reading/north ph"] == first, "the value moves")
		s.want(s.with.read("north circulation") == 0, "the flow switch does not tell")
	},
	"phosphate-run-down": func(s seen) {
		s.wait(time.Minute)
		s.want(s.with.farm.Truth(north).Ions.P < 0.06, "phosphate is left")
		s.same("pH", s.ph(), 0, 0.25)
		s.same("buffer ÷ that with its phosphate", s.with.farm.Buffer(north)/s.plain.farm.Buffer(north), 0.4, 0.2)
	},
	"acid-undiluted": func(s seen) {
		s.dose(acid, 4)
		s.wait(15 * time.Minute)
		s.want(s.ph() < -0.05, "it does no more than acid as it should be")
		s.same("share delivered", s.share(acid), 1, 0.02)
	},
	"ec-compensated-twice": func(s seen) {
		s.wait(time.Minute)
		celsius := s.with.farm.Celsius(north)
		s.same("EC shown with ÷ without", s.with.read("north ec")/s.plain.read("north ec"), 1-0.02*(celsius-25), 0.02)
	},
	"ph-input-open": func(s seen) {
		for range 120 {
			s.wait(5 * time.Second)
			v := s.with.read("north ph")
			s.want(v == 7 || v == 7.01, "it reads something else")
		}
	},
	"ph-dead-wanders": func(s seen) {
		first := s.with.read("north ph")
		s.wait(11 * time.Minute)
		s.same("step", math.Abs(s.with.read("north ph")-first), 0.19, 0.1)
		s.wait(3 * time.Hour)
		v := s.with.read("north ph")
		s.want(v > 4.8 && v < 7.2, "it leaves where a pH may be")
	},
	"circulation-half": func(s seen) {
		s.dose(acid, 20)
		s.wait(2 * time.Minute)
		late := s.ph()
		s.want(late > 0.03, "the dose arrives as fast as ever")
		s.wait(30 * time.Minute)
		s.same("pH at the end", s.ph(), 0, 0.01)
		s.want(s.with.read("north circulation") == 1, "half the flow trips the flow switch")
	},
	"valve-leak": func(s seen) {
		s.wait(10 * time.Hour)
		s.same("EC ÷ EC without", s.with.farm.Truth(north).EC/s.plain.farm.Truth(north).EC, 0.92, 0.02)
		s.want(s.with.read("north level") > 1400*0.96, "the level falls")
	},
	"top-up-stuck-open": func(s seen) {
		s.wait(time.Hour)
		s.want(s.with.read("north level") > 1400*1.15 && s.with.read("north top_up") == 1, "the level does not rise")
	},
	"top-up-stuck-shut": func(s seen) {
		s.wait(10 * time.Hour)
		s.want(s.with.read("north level") < 1400*0.95, "the level does not fall")
	},
	"top-up-hard": func(s seen) { s.wait(10 * time.Hour); s.want(s.ph() > 0.1, "pH does not climb more") },
	"top-up-salty": func(s seen) {
		s.wait(10 * time.Hour)
		s.want(s.with.farm.Truth(north).Ions.Cl > s.plain.farm.Truth(north).Ions.Cl+0.5, "no salt came")
	},
	"plant-shock": func(s seen) { s.wait(3 * time.Hour); s.want(s.ph() > 0.4, "pH does not run away") },
	"acid-by-hand": func(s seen) {
		s.wait(15 * time.Minute)
		s.want(s.ph() < -0.2, "pH does not step down")
		s.want(s.with.farm.Delivered(acid) == 0, "a pump counts it")
	},
	"water-change": func(s seen) {
		s.wait(4 * time.Minute)
		s.want(s.with.read("north level") < 0.6*s.plain.read("north level"), "the level does not fall")
		s.wait(7 * time.Minute)
		s.want(s.with.read("north ec") < 0.6*s.plain.read("north ec"), "EC does not fall")
	},
	"stop-pressed": func(s seen) {
		s.wait(5 * time.Second)
		s.want(s.with.read("north circulation") == 1 && s.with.read("stop") == 1, "the input does not tell")
		s.with.send(s.with.plan(acid, north, 3))
		s.want(s.with.lastReport().Phase == controller.PhaseRefused, "a pump without power takes an order")
	},
	"disinfectant": func(s seen) {
		s.wait(5 * time.Minute)
		s.want(s.with.read("north ph") > 8.5 && s.with.read("north redox") > 650, "pH and redox do not rise")
	},
	"film-stopped": func(s seen) {
		s.dose(calcium, 200)
		s.wait(20 * time.Minute)
		s.want(s.with.farm.tanks[north].zones[1].water.perLitre().Ca < s.plain.farm.tanks[north].zones[1].water.perLitre().Ca, "the channels still get fresh water")
	},
	"flood-does-not-drain": func(s seen) {
		s.with.farm.Flood(north)
		s.plain.farm.Flood(north)
		s.wait(30 * time.Minute)
		s.same("litres still on the bench", s.with.farm.Truth(north).Flooded, 0.7*250, 15)
		s.want(s.plain.farm.Truth(north).Flooded == 0, "it does not drain without the fault either")
	},
	"aeration-off": func(s seen) {
		s.wait(time.Hour)
		s.want(s.with.farm.tanks[north].oxygen < s.plain.farm.tanks[north].oxygen-0.8, "oxygen does not fall")
	},
	"filter-clogs": func(s seen) {
		s.wait(2 * time.Hour)
		in := safety.Input{Quantity: dosing.QuantityFilterPressure}
		s.same("kPa more", watched(s.with.farm.tanks[north], &in, 0)-watched(s.plain.farm.tanks[north], &in, 0), 40, 0.5)
	},
	"uv-lamp-out": func(s seen) {
		s.wait(time.Minute)
		s.same("mW/cm²", watched(s.with.farm.tanks[north], &safety.Input{Quantity: dosing.QuantityUVIntensity}, 0), 0, 0)
	},
	"uv-lamp-old": func(s seen) {
		s.wait(time.Minute)
		s.same("mW/cm²", watched(s.with.farm.tanks[north], &safety.Input{Quantity: dosing.QuantityUVIntensity}, 0), 0.4*lampNew, 0.01)
	},
	"heater-stuck": func(s seen) {
		s.wait(4 * time.Hour)
		s.same("°C more", s.with.read("north temperature")-s.plain.read("north temperature"), 8, 0.4)
	},
	"tank-leaks": func(s seen) {
		s.wait(30 * time.Minute)
		s.want(s.with.read("north leak") == 1 && s.plain.read("north leak") == 0, "the floor sensor does not tell")
		s.want(s.with.farm.Balance(north).Drained.Litres > 55, "no water is lost")
	},
	"precipitate": func(s seen) {
		s.wait(5 * time.Hour)
		with, plain := s.with.farm.Truth(north), s.plain.farm.Truth(north)
		s.want(with.Ions.P < 0.8*plain.Ions.P && with.Ions.Ca < plain.Ions.Ca, "phosphate and calcium do not fall")
		s.want(math.Abs(with.EC-plain.EC) < 0.1, "EC tells of it")
	},
	"outlet-stuck-shut": func(s seen) {
		s.wait(10 * time.Second)
		s.want(s.with.read("north outlet") == 0, "its end switch does not tell")
		s.dose(acid, 3)
		s.want(s.with.lastReport().Phase == controller.PhaseRefused && s.with.farm.Delivered(acid) == 0, "the pump runs against a shut valve")
	},
	"orders-duplicated": func(s seen) {
		before := s.with.farm.Starts()
		s.dose(acid, 6)
		s.want(s.with.farm.Starts() == before+1, "a copy ran")
		s.want(len(s.with.reports) > len(s.plain.reports), "no copy arrived")
	},
	"order-lost": func(s seen) {
		before := len(s.with.reports)
		s.dose(acid, 6)
		s.want(len(s.with.reports) == before && s.with.farm.Delivered(acid) == 0, "it arrived")
		s.dose(acid, 6)
		s.want(s.with.farm.Delivered(acid) > 0, "the one after it is lost too")
	},
	"reports-lost": func(s seen) {
		before := len(s.with.reports)
		s.dose(acid, 6)
		s.want(len(s.with.reports) == before && s.with.last == nil && s.with.farm.Delivered(acid) > 0, "word of the dose arrives")
	},
	"report-thousandth": func(s seen) {
		s.dose(acid, 6)
		s.wait(2 * time.Second)
		s.want(s.with.lastReport().Volume == 6 && s.with.last.Volume == 6 && s.with.farm.Delivered(acid) > 5000, "report or heartbeat do not say a thousandth")
	},
	"report-nothing": func(s seen) {
		s.dose(acid, 6)
		r := s.with.lastReport()
		s.want(r.Phase == controller.PhaseDone && r.Volume == 0 && r.Run == 0 && s.with.farm.Delivered(acid) > 5000, "it says that it gave something")
	},
	"report-fivefold": func(s seen) {
		s.dose(acid, 6)
		s.want(s.with.lastReport().Volume == 30*dosing.Millilitre, "it does not say five times as much")
	},
	"reports-late": func(s seen) {
		s.dose(acid, 6)
		s.want(s.with.lastReport().Phase == controller.PhaseRunning && s.with.last == nil, "the word comes at once")
		s.wait(42 * time.Second)
		s.want(s.with.lastReport().Phase == controller.PhaseDone && s.with.last != nil, "the word never comes")
	},
	"reports-twice": func(s seen) {
		s.dose(acid, 6)
		s.want(len(s.with.reports) == 2*len(s.plain.reports), "not everything is said twice")
	},
	"report-forged-stop": func(s seen) {
		s.with.send(s.with.plan(acid, north, 6))
		s.with.wait(3 * time.Second)
		s.want(s.with.lastReport().Phase == controller.PhaseStopped && s.with.lastReport().Volume == 0 && !s.with.idle, "nobody forges a stop")
		s.with.wait(10 * time.Second)
		s.with.mustEnd(controller.PhaseDone)
	},
	"report-forged-second": func(s seen) {
		s.dose(acid, 6)
		s.with.mustEnd(controller.PhaseDone)
		s.wait(12 * time.Second)
		s.with.mustEnd(controller.PhaseStopped)
		s.want(s.with.last.Phase == controller.PhaseDone, "the node itself takes its word back")
	},
	"epoch-poisoned": func(s seen) {
		s.dose(acid, 6)
		s.with.mustEnd(controller.PhaseDone)
	},
	"epoch-stepped": func(s seen) {
		s.dose(acid, 6)
		s.with.mustRefuse(causeEpoch)
	},
	"node-limit-lowered": func(s seen) {
		s.dose(acid, 12)
		s.with.mustRefuse(causeOnTime)
	},
	"network-cut": func(s seen) {
		s.dose(acid, 6)
		beats := s.with.beats
		s.wait(time.Minute)
		s.want(s.with.beats == beats && s.with.farm.Starts() == 0, "something passes")
	},
	"network-one-way": func(s seen) {
		beats := s.with.beats
		s.dose(acid, 6)
		s.want(s.with.beats > beats && s.with.farm.Starts() == 0, "not only one way")
	},
	"network-slow": func(s seen) {
		tick := s.with.tick
		s.wait(20 * time.Second)
		s.want(s.with.tick <= tick+2*time.Second, "word arrives within 20 s")
		s.wait(40 * time.Second)
		s.same("age of the newest heartbeat, s", (s.with.now - s.with.tick).Seconds(), 31, 2)
	},
	"node-reboots": func(s seen) {
		boots := map[string]bool{}
		for range 10 {
			s.wait(time.Minute)
			boots[s.with.boot] = true
		}
		s.want(len(boots) >= 4, "it does not restart again and again")
	},
	"node-offline": func(s seen) {
		beats := s.with.beats
		s.dose(acid, 6)
		s.want(s.with.beats == beats && s.with.farm.Starts() == 0, "it lives")
	},
	"node-clock-jump": func(s seen) {
		s.wait(5 * time.Second)
		s.same("its clock is ahead by, min", (s.with.tick - s.plain.tick).Minutes(), 60, 0.1)
	},
	"node-clock-fast": func(s seen) {
		tick := s.with.tick
		s.wait(time.Hour)
		s.same("its hour, min", (s.with.tick - tick).Minutes(), 66, 0.2)
	},
	"power-cut": func(s seen) {
		s.wait(10 * time.Second)
		s.want(s.with.boot != s.plain.boot && s.with.tick < 10*time.Second, "the node did not restart")
	},
}

func TestEachFaultShowsAsTheTableOfFaultsSays(t *testing.T) {
	for _, fault := range Faults() {
		check := shows[fault.Name]
		if fault.Outside {
			continue
		}
		if check == nil {
			t.Errorf("fault %s has no check of what it shows", fault.Name)
			continue
		}
		t.Run(fault.Name, func(t *testing.T) {
			o := Options{Seed: 21, PumpError: -1}
			s := seen{t: t, plain: newYard(t, 1, o)}
			o.Fault, o.FaultAt = fault.Name, 30*time.Minute
			s.with = newYard(t, 1, o)
			s.wait(30*time.Minute - time.Second)
			if s.with.farm.TraceHash() != s.plain.farm.TraceHash() {
				t.Error("the fault shows before it begins")
			}
			for topic, body := range s.plain.sent {
				if s.with.sent[topic] != body {
					t.Errorf("%s differs before the fault begins", topic)
				}
			}
			s.begun = s.plain.farm.Truth(north)
			s.wait(2 * time.Second)
			check(s)
		})
	}
}

func TestUnknownFaultIsRefusedWithTheListOfThoseThatAre(t *testing.T) {
	y := newYard(t, 1, Options{})
	if err := y.farm.Inject(Injection{Fault: "rain"}); err == nil || len(err.Error()) < 200 {
		t.Errorf("error %v, want one that lists what there is", err)
	}
	if err := y.farm.Inject(Injection{Fault: "siphon", Tank: 3}); err == nil {
		t.Error("a fault in a tank that is not there is taken")
	}
}

func TestFaultEndsWhenItsTimeIsOver(t *testing.T) {
	y := newYard(t, 1, Options{Quiet: true, Fault: "circulation-off", FaultAt: time.Minute, FaultFor: 5 * time.Minute})
	y.wait(3 * time.Minute)
	if y.read("north circulation") != 0 {
		t.Error("it has not begun")
	}
	y.wait(4 * time.Minute)
	if y.read("north circulation") != 1 {
		t.Error("it has not ended")
	}
}

func (s seen) wait(d time.Duration) { s.with.wait(d); s.plain.wait(d) }

// dose orders the same dose on both farms, whatever becomes of it.
func (s seen) dose(pump dosing.PumpID, ml float64) {
	for _, y := range []*yard{s.with, s.plain} {
		o := y.plan(pump, north, ml)
		y.send(o)
		y.wait(o.run + time.Second)
	}
}

// acidify gives what the acid pump can give in a little over a minute.
func (s seen) acidify() { s.dose(acid, 24); s.dose(acid, 24) }

// ph is how much higher the true pH is than without the fault.
func (s seen) ph() float64 { return s.with.farm.Truth(north).PH - s.plain.farm.Truth(north).PH }

// share is what a pump delivered against the healthy one.
func (s seen) share(p dosing.PumpID) float64 {
	return float64(s.with.farm.Delivered(p)) / float64(s.plain.farm.Delivered(p))
}

// stock checks that the calcium stock is this many times as strong.
func (s seen) stock(strength float64) {
	s.t.Helper()
	ca := func(y *yard) float64 { return y.farm.Balance(north).Dosed.Ions.Ca }
	with, plain := ca(s.with), ca(s.plain)
	s.dose(calcium, 200)
	s.same("calcium of the dose ÷ that of a good stock", (ca(s.with)-with)/(ca(s.plain)-plain), strength, 0.005*max(strength, 1))
}

// mean and scatter of the pH readings over the next two minutes.
func (s seen) mean(y *yard) float64 { m, _ := readings(y); return m }

func (s seen) scatter(y *yard) float64 { _, sd := readings(y); return sd }

func readings(y *yard) (mean, sd float64) {
	sum, square := 0.0, 0.0
	const n = 24
	for range n {
		y.wait(5 * time.Second)
		v := y.read("north ph")
		sum += v
		square += v * v
	}
	mean = sum / n
	return mean, math.Sqrt(max(square/n-mean*mean, 0))
}

func (s seen) same(what string, got, want, within float64) {
	s.t.Helper()
	near(s.t, what, got, want, within)
}

func (s seen) want(ok bool, otherwise string) {
	s.t.Helper()
	if !ok {
		s.t.Error(otherwise)
	}
}
