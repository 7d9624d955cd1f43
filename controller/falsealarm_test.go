package controller_test

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety"
	"leat/safety/ledger"
)

// nightsWanted is how many nights a set runs: few by default, as many as LEAT_NIGHTS
// says for the figures in testdata/golden/figures.md.
func nightsWanted(t *testing.T, otherwise int) int {
	text := os.Getenv("LEAT_NIGHTS")
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		t.Fatalf("LEAT_NIGHTS=%q is not a number of nights", text)
	}
	return n
}

// faultFree is the start of a night without faults: starts from pH 5.4 to 6.8 and
// EC from 60 to 100 % of the setpoint, spread evenly over any run of seeds.
func faultFree(seed uint64) sim.Options {
	part := func(step float64) float64 { return math.Mod(float64(seed)*step, 1) }
	return sim.Options{Seed: seed, StartPH: 5.4 + 1.4*part(0.6180339887), StartECShare: 0.6 + 0.4*part(0.7548776662)}
}

// never are the trips that no healthy farm may see once it has started.
var never = []safety.Cause{safety.CauseNoResponse, safety.CauseWrongDirection, safety.CauseSolutionUnconfirmed,
	safety.CausePHInvalid, safety.CauseECInvalid, safety.CauseTemperatureInvalid, safety.CausePHStale, safety.CauseECStale}

func TestFaultFreeNightsTripNothingAndWakeNobody(t *testing.T) {
	nights, doses := nightsWanted(t, 5), uint64(0)
	for seed := uint64(1); seed <= uint64(nights); seed++ {
		o := faultFree(seed)
		r := newRig(t, o)
		told := false
		r.Notice = func(now dosing.Instant, n controller.Notice) {
			told = told || n.Kind == controller.NoticeAlarm
			if n.Kind == controller.NoticeInterlock && n.Active && slices.Contains(never, n.Cause) {
				t.Errorf("seed %d (pH %.2f, EC share %.2f), tank %d at %s: %s (%s)", seed, o.StartPH, o.StartECShare, n.Tank, now.Up, n.Cause, n.Text)
			}
		}
		r.Arm()
		r.Run(10*time.Hour, func(now dosing.Instant) {
			if !told {
				return
			}
			told = false
			for _, tank := range r.Core.View(now).Tanks {
				for _, a := range tank.Alarms {
					if a.Priority <= safety.PriorityTonight {
						t.Errorf("seed %d (pH %.2f, EC share %.2f), %s at %s: alarm of %s: %s", seed, o.StartPH, o.StartECShare, tank.Name, now.Up, a.Priority, a.Text)
					}
				}
			}
		})
		for _, p := range r.Core.View(r.Now()).Pumps {
			doses += p.Doses[ledger.OutcomeConfirmed]
		}
	}
	t.Logf("%d nights, %d doses", nights, doses)
	if doses < uint64(100*nights) {
		t.Errorf("only %d doses in %d nights; a farm that hardly doses proves nothing", doses, nights)
	}
}

// broken is a fault that the response of the water, or its silence, must show.
type broken struct {
	fault  string
	at     time.Duration
	start  sim.Options
	causes []safety.Cause
	within time.Duration // of the farm's time
	nights int           // at least; where one in twenty is missed, two nights cannot tell nine of ten
}

// Acid faults begin while the loop holds pH against the drift of the plants, which is
// where they are hardest to see. A stock runs dry during the filling: later the loop
// gives 0.02 mS/cm an hour of all nine stocks together, and no test of one of them can
// be had from that within a night.
var brokenThings = []broken{
	{fault: "acid-empty", at: time.Hour, causes: []safety.Cause{safety.CauseNoResponse}, within: 90 * time.Minute},
	{fault: "pump-dead", at: time.Hour, causes: []safety.Cause{safety.CauseNoResponse}, within: 90 * time.Minute},
	{fault: "injection-clogged", at: time.Hour, causes: []safety.Cause{safety.CauseNoResponse}, within: 4 * time.Hour, nights: 10},
	{fault: "line-burst", at: time.Hour, causes: []safety.Cause{safety.CauseLeak, safety.CauseNoResponse}, within: 90 * time.Minute},
	{fault: "acid-base-swapped", at: time.Hour, causes: []safety.Cause{safety.CauseWrongDirection, safety.CauseNoResponse}, within: 45 * time.Minute},
	{fault: "stock-empty", at: 10 * time.Minute, start: sim.Options{StartPH: 6.2, StartECShare: 0.6}, causes: []safety.Cause{safety.CauseNoResponse}, within: 90 * time.Minute},
	{fault: "ph-glass-broken", at: time.Hour, causes: []safety.Cause{safety.CausePHInvalid, safety.CauseNoResponse}, within: 2 * time.Hour},
	{fault: "probe-flat", at: time.Hour, causes: []safety.Cause{safety.CausePHInvalid}, within: 12 * time.Minute},
}

func TestBrokenThingsAreFoundByWhatTheWaterDoes(t *testing.T) {
	for _, b := range brokenThings {
		t.Run(b.fault, func(t *testing.T) {
			nights := max(nightsWanted(t, 2), b.nights)
			var after []time.Duration
			var acid []float64
			causes := map[string]int{}
			for seed := uint64(1); seed <= uint64(nights); seed++ {
				found := findBroken(t, b, seed)
				if found.cause == safety.CauseNone {
					t.Logf("seed %d: not found within %s; acid worth %.2f pH in %d doses", seed, b.within, found.acid, found.doses)
					continue
				}
				after, acid = append(after, found.after), append(acid, found.acid)
				causes[fmt.Sprintf("%s of %s", found.cause, found.scope)]++
			}
			slices.Sort(after)
			slices.Sort(acid)
			if n := len(after); n > 0 {
				t.Logf("found in %d of %d nights, after %s (median; most %s), acid counted until then worth %.2f pH (median; most %.2f): %v",
					n, nights, after[(n-1)/2].Round(time.Second), after[n-1], acid[(n-1)/2], acid[n-1], causes)
			}
			if float64(len(after)) < 0.9*float64(nights) {
				t.Errorf("found in %d of %d nights, want 9 of 10", len(after), nights)
			}
		})
	}
}

// finding is when and how a fault was found.
type finding struct {
	cause safety.Cause
	scope safety.Scope
	after time.Duration
	acid  float64 // counted since the fault, pH at the commissioned buffer capacity
	doses uint64
}

// findBroken lives through a night with a fault, in one tank or the other by turns.
func findBroken(t *testing.T, b broken, seed uint64) finding {
	t.Helper()
	o := b.start
	o.Seed = seed
	r := newRig(t, o)
	tank := dosing.TankID(seed % 2)
	if err := r.farm.Inject(sim.Injection{Fault: b.fault, At: b.at, Tank: tank}); err != nil {
		t.Fatal(err)
	}
	var out finding
	done := false
	r.Notice = func(now dosing.Instant, n controller.Notice) {
		if done || n.Kind != controller.NoticeInterlock || !n.Active || n.Tank != tank || !slices.Contains(b.causes, n.Cause) {
			return
		}
		if now.Up < b.at {
			t.Errorf("%s, seed %d: %s at %s, before the fault (%s)", b.fault, seed, n.Cause, now.Up, n.Text)
			return
		}
		done, out.cause, out.after = true, n.Cause, now.Up-b.at
	}
	r.Arm()
	r.Run(b.at, nil)
	before := acidCounted(r, tank)
	for !done && r.Now().Up < b.at+b.within {
		r.Run(10*time.Second, nil)
	}
	since := acidCounted(r, tank)
	out.acid, out.doses = since.worth-before.worth, since.doses-before.doses
	for _, hold := range r.Core.View(r.Now()).Tanks[tank].Holds {
		if hold.Cause == out.cause {
			out.scope = hold.Scope
		}
	}
	return out
}

// counted is what the daemon counts of a tank's acid.
type counted struct {
	worth float64 // pH at the commissioned buffer capacity
	doses uint64
}

func acidCounted(r *rig, tank dosing.TankID) counted {
	var out counted
	plant := r.file.Settings.Safety.Tanks[tank].Tank
	curve, err := chem.NewCurve(plant.Expected(), 21)
	if err != nil {
		panic(err)
	}
	for i, p := range r.Core.View(r.Now()).Pumps {
		set := &r.file.Settings.Safety.Pumps[i]
		if set.Role != dosing.RoleAcid || !set.ServesTank(tank) {
			continue
		}
		out.worth += p.Ever.Millilitres() * set.AcidPerML / float64(plant.Volume) / curve.Buffer(5.8) / plant.BufferScale
		out.doses += p.Doses[ledger.OutcomeConfirmed]
	}
	return out
}
