package sim

import (
	"fmt"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
)

// The contract of a node: architecture and interfaces of this project, table of
// topics, "orders and nodes".

func ready(t *testing.T) *yard {
	y := newYard(t, 1, Options{Quiet: true})
	y.wait(5 * time.Second)
	return y
}

func TestNodeRunsAnOrderAndTellsEachStep(t *testing.T) {
	y := ready(t)
	o := y.plan(acid, north, 6)
	y.send(o)
	y.wait(5 * time.Second)
	if y.idle {
		t.Error("the node says idle while the pump runs")
	}
	y.wait(6 * time.Second)
	var phases []controller.Phase
	for _, r := range y.reports {
		phases = append(phases, r.Phase)
	}
	if len(phases) != 3 || phases[0] != controller.PhaseAccepted || phases[1] != controller.PhaseRunning || phases[2] != controller.PhaseDone {
		t.Fatalf("phases %v, want accepted, running, done", phases)
	}
	r := y.lastReport()
	if r.Volume != 6*dosing.Millilitre || r.Run != 10*time.Second {
		t.Errorf("reports %v in %v, want 6 mL in 10 s", r.Volume, r.Run)
	}
	if got := y.farm.Delivered(acid); got != 6*dosing.Millilitre {
		t.Errorf("%v left the container, want 6 mL from a perfect pump", got)
	}
	y.wait(3 * time.Second)
	if !y.idle || y.last == nil || y.last.Phase != controller.PhaseDone || y.last.Volume != 6*dosing.Millilitre {
		t.Errorf("the heartbeat does not tell of the last order: idle %v, last %+v", y.idle, y.last)
	}
}

func TestDuplicatedOrderRunsOnce(t *testing.T) {
	y := ready(t)
	o := y.plan(acid, north, 6)
	for range 5 {
		y.send(o)
	}
	y.wait(5 * time.Second)
	y.send(o)
	y.wait(7 * time.Second)
	for range 5 {
		y.send(o)
		if y.lastReport().Phase != controller.PhaseDone {
			t.Error("a copy after the end is not answered with how the order ended")
		}
	}
	y.wait(30 * time.Second)
	if y.farm.Starts() != 1 || y.farm.Delivered(acid) != 6*dosing.Millilitre {
		t.Errorf("%d starts, %v delivered", y.farm.Starts(), y.farm.Delivered(acid))
	}
}

func TestReorderedOrderIsRefused(t *testing.T) {
	y := ready(t)
	first := y.plan(acid, north, 1)
	y.dose(acid, north, 1)
	y.send(first)
	y.mustRefuse(causeOld)
}

func TestLateOrderIsRefused(t *testing.T) {
	y := ready(t)
	o := y.plan(acid, north, 6)
	y.wait(20 * time.Second)
	y.send(o)
	y.mustRefuse(causeLate)
	if y.farm.Starts() != 0 {
		t.Error("it ran")
	}
}

func TestOrderOfAnotherBootIsRefused(t *testing.T) {
	y := ready(t)
	o := y.plan(acid, north, 6)
	y.farm.Reboot(0)
	o.before = time.Hour // a copy kept by the broker may look fresh by its tick
	y.wait(10 * time.Second)
	y.send(o)
	y.mustRefuse(causeBoot)
}

func TestOrderOfAnOlderEpochIsRefused(t *testing.T) {
	y := ready(t)
	o := y.plan(acid, north, 6)
	o.epoch = 6
	y.send(o)
	y.mustRefuse(causeEpoch)
	y.renew(9, 1) // a newer daemon took over
	o = y.plan(acid, north, 6)
	y.send(o)
	y.mustRefuse(causeEpoch)
}

func TestOneOrderAtATime(t *testing.T) {
	y := ready(t)
	y.send(y.plan(acid, north, 6))
	y.wait(2 * time.Second)
	y.send(y.plan(calcium, north, 50))
	y.mustRefuse(causeBusy)
}

func TestOrderWithoutLeaseIsRefused(t *testing.T) {
	y := ready(t)
	y.lease = false
	y.wait(11 * time.Second)
	y.send(y.plan(acid, north, 6))
	y.mustRefuse(causeLease)
}

func TestLapsedLeaseStopsThePumpWithinTenSeconds(t *testing.T) {
	y := ready(t)
	y.lease = false
	y.now += 300 * time.Millisecond // the last lease comes between two seconds of the plant
	y.farm.Advance(y.now, y.hear)
	y.renew(y.epoch, 0)
	o := y.plan(acid, north, 20)
	y.send(o)
	y.farm.Advance(y.now+20*time.Second, y.hear) // in one step: the node's clock is its own
	r := y.mustEnd(controller.PhaseStopped)
	if r.Cause != "lease lapsed" {
		t.Errorf("stopped for %q", r.Cause)
	}
	if r.Run != leaseHolds {
		t.Errorf("ran %v after its last lease, want %v", r.Run, leaseHolds)
	}
	if got := y.farm.Delivered(acid); got > r.Volume || got < r.Volume-1 {
		t.Errorf("delivered %v, reported %v: the report must cover it", got, r.Volume)
	}
}

func TestLeaseKeptByTheBrokerKeepsNothingAlive(t *testing.T) {
	y := ready(t)
	y.lease = false
	y.send(y.plan(acid, north, 20))
	for range 15 {
		y.wait(time.Second)
		y.renew(y.epoch, y.beat) // the same beat again and again
	}
	y.mustEnd(controller.PhaseStopped)
}

func TestRebootInADoseSwitchesThePumpOffForGood(t *testing.T) {
	y := ready(t)
	boot := y.boot
	y.send(y.plan(acid, north, 12))
	y.wait(5 * time.Second)
	y.farm.Reboot(0)
	given := y.farm.Delivered(acid)
	y.wait(time.Minute)
	if y.farm.Delivered(acid) != given {
		t.Errorf("delivered %v at the reboot and %v a minute later", given, y.farm.Delivered(acid))
	}
	if y.boot == boot {
		t.Error("the boot id is the old one")
	}
	if y.tick > 58*time.Second {
		t.Errorf("the tick did not start anew: %v", y.tick)
	}
	// It cannot know how much of the order was delivered, so it may not say an end.
	if !y.idle || y.last == nil || y.last.Order.Number != uint32(y.number) || y.last.Phase != controller.PhaseRunning {
		t.Errorf("idle %v, last %+v; want the interrupted order, still noted as running", y.idle, y.last)
	}
	y.dose(acid, north, 1)
}

func TestNodeRemembersItsLastOrderThroughAReboot(t *testing.T) {
	y := ready(t)
	o := y.plan(acid, north, 3)
	y.send(o)
	y.wait(10 * time.Second)
	y.farm.Reboot(0)
	y.wait(10 * time.Second)
	o.boot, o.before = y.boot, y.tick+10*time.Second
	y.send(o)
	if r := y.lastReport(); r.Phase != controller.PhaseDone {
		t.Errorf("the same order after a reboot is answered with %s (%s)", r.Phase, r.Cause)
	}
	y.wait(10 * time.Second)
	if y.farm.Starts() != 1 {
		t.Errorf("it ran %d times", y.farm.Starts())
	}
}

func TestOverLongOrderIsRefused(t *testing.T) {
	y := ready(t)
	o := y.plan(acid, north, 6)
	o.run = 41 * time.Second
	y.send(o)
	y.mustRefuse(causeOnTime)
}

func TestHourlyLimitOfTheNodeHolds(t *testing.T) {
	y := ready(t)
	limit := y.settings.Safety.Caps[acid].PerHour
	refused := false
	for range 12 {
		y.send(y.plan(acid, north, 12))
		y.wait(30 * time.Second)
		if r := y.lastReport(); r.Phase == controller.PhaseRefused {
			refused = r.Cause == causeHourly
			break
		}
	}
	if got := y.farm.Delivered(acid); !refused || got > limit+limit/4 {
		t.Errorf("%v in some minutes, refused %v; the cap is %v", got, refused, limit)
	}
	y.wait(time.Hour)
	y.dose(acid, north, 12)
}

func TestStopOrderStopsWhatItNames(t *testing.T) {
	for body, stops := range map[string]bool{
		`{"epoch":7}`:                  true,
		`{"epoch":7,"pump":"acid"}`:    true,
		`{"epoch":7,"pump":"calcium"}`: false,
		`{"epoch":1}`:                  true, // stopping is safe, whoever asks
		`garbage`:                      true, // a stop that cannot be read stops all
	} {
		y := ready(t)
		y.send(y.plan(acid, north, 12))
		y.wait(5 * time.Second)
		y.receive("leat/row/stop", body)
		if stopped := y.lastReport().Phase == controller.PhaseStopped; stopped != stops {
			t.Errorf("%s: stopped %v, want %v", body, stopped, stops)
		}
		if stops {
			if r := y.lastReport(); r.Volume != 3*dosing.Millilitre {
				t.Errorf("%s: reports %v after 5 s, want 3 mL", body, r.Volume)
			}
		}
	}
}

func TestCutSupplyBeatsAWeldedRelay(t *testing.T) {
	y := ready(t)
	if err := y.farm.Inject(Injection{Fault: "pump-stuck-on", At: y.now}); err != nil {
		t.Fatal(err)
	}
	y.wait(10 * time.Second)
	if y.farm.Delivered(acid) == 0 {
		t.Fatal("the welded relay does not run the pump")
	}
	y.receive("leat/row/stop", `{"epoch":7}`)
	before := y.farm.Delivered(acid)
	y.wait(5 * time.Second)
	if y.farm.Delivered(acid) == before {
		t.Error("a stop order ended a welded relay; it cannot")
	}
	y.receive("leat/row/supply", `{"epoch":7,"cut":true}`)
	before = y.farm.Delivered(acid)
	y.wait(30 * time.Second)
	if y.farm.Delivered(acid) != before {
		t.Error("the pump runs though its supply is cut")
	}
	y.send(y.plan(calcium, north, 50))
	y.mustRefuse(causeSupply)
}

func TestReportGoesOutAgainAfterTheLinkReturns(t *testing.T) {
	y := ready(t)
	y.send(y.plan(acid, north, 3))
	y.wait(2 * time.Second)
	y.farm.Connected(false)
	before := len(y.reports)
	y.wait(20 * time.Second)
	if len(y.reports) != before {
		t.Error("a report went out while the link was down")
	}
	y.farm.Connected(true)
	y.wait(2 * time.Second)
	if r := y.mustEnd(controller.PhaseDone); r.Volume != 3*dosing.Millilitre {
		t.Errorf("reports %v", r.Volume)
	}
}

func TestNothingArrivesWhileTheLinkIsDown(t *testing.T) {
	y := ready(t)
	y.farm.Connected(false)
	y.send(y.plan(acid, north, 3))
	y.wait(10 * time.Second)
	y.farm.Connected(true)
	y.wait(10 * time.Second)
	if y.farm.Starts() != 0 {
		t.Error("an order sent into a closed link ran")
	}
}

func TestDaemonOnTheSameThreadMayAnswerFromWithinAMessage(t *testing.T) {
	y := ready(t)
	stops, heard := 0, 0
	var hear Send
	hear = func(topic string, qos byte, retained bool, body []byte) {
		y.hear(topic, qos, retained, body)
		heard++
		if len(y.reports) == 1 && stops == 0 {
			stops++
			y.farm.Receive("leat/row/stop", []byte(`{"epoch":7}`), hear)
		}
		y.farm.Receive("leat/row/lease", fmt.Appendf(nil, `{"epoch":7,"beat":%d}`, 1000+heard), hear)
	}
	o := y.plan(acid, north, 6)
	y.farm.Receive("leat/row/order/acid", fmt.Appendf(nil, `{"order":"7-000001","outlet":"north","volume_ml":6,"run_ms":10000,"boot":%q,"before_tick_ms":%d}`,
		o.boot, o.before.Milliseconds()), hear)
	if r := y.mustEnd(controller.PhaseStopped); r.Volume != 0 || y.farm.Starts() != 1 {
		t.Errorf("stopped at once, yet reports %v", r.Volume)
	}
	before := heard
	y.farm.Advance(y.now+time.Minute, hear)
	if heard < before+100 {
		t.Errorf("only %d messages in a minute after answers from within", heard-before)
	}
}

func TestUnknownOutletIsRefused(t *testing.T) {
	y := newYard(t, 2, Options{Quiet: true})
	y.wait(5 * time.Second)
	y.receive("leat/row/order/acid", `{"order":"7-000009","outlet":"nowhere","volume_ml":3,"run_ms":5000,"boot":"`+y.boot+`","before_tick_ms":99999999}`)
	y.mustRefuse(causeOutlet)
}

func TestOrderGoesToTheTankOfItsOutlet(t *testing.T) {
	y := newYard(t, 2, Options{Quiet: true})
	y.wait(5 * time.Second)
	o := y.plan(acid, south, 3)
	y.send(o)
	y.wait(2 * time.Second)
	if y.read("north outlet") != 0 || y.read("south outlet") != 1 {
		t.Error("while the order runs its outlet is not the only one proved open")
	}
	y.wait(10 * time.Second)
	if n, s := y.farm.Truth(north).Delivered[acid], y.farm.Truth(south).Delivered[acid]; n != 0 || s != 3*dosing.Millilitre {
		t.Errorf("north got %v, south %v", n, s)
	}
	if y.read("north outlet") != 1 || y.read("south outlet") != 1 {
		t.Error("at rest not all outlets are proved")
	}
}

func TestTimedPulseNodeRunsABoundedTimeAndSaysNothing(t *testing.T) {
	s := yardSettings(1)
	s.Safety.Nodes[0].FullContract = false
	y := newYardOf(t, s, Options{Quiet: true})
	y.wait(5 * time.Second)
	o := y.plan(acid, north, 600)
	o.boot, o.run = "none", 1000*time.Second
	y.send(o)
	y.wait(5 * time.Minute)
	if len(y.reports) != 0 || y.beats != 0 {
		t.Error("a plain node reports")
	}
	if got, most := y.farm.Delivered(acid), 600*dosing.Microlitre*40100/1000; got != most {
		t.Errorf("it delivered %v, its own limit allows %v", got, most)
	}
}

// A node takes no epoch that no restart of the daemon explains, however the forger
// goes about it, and never one that would leave the daemon none above it.
func TestForgedEpochsCannotPoisonANodeForGood(t *testing.T) {
	y := ready(t)
	y.renew(4_000_000_000, 1)
	y.dose(acid, north, 1)
	o := y.plan(acid, north, 1)
	o.epoch = 4_000_000_000
	y.send(o)
	y.mustRefuse(causeAhead)
	n := y.farm.nodes[0]
	for range 60 { // a forger who climbs, for an hour
		y.renew(int(n.epoch)+controller.EpochRoom, 1)
		y.wait(time.Minute)
	}
	if n.epoch > 7+7*controller.EpochRoom {
		t.Errorf("an hour of forged leases took it to epoch %d", n.epoch)
	}
	y.wait(epochWindow)
	y.epoch = int(n.epoch) + 1
	y.renew(y.epoch, 1)
	o = y.plan(acid, north, 1)
	y.send(o)
	y.wait(5 * time.Second)
	y.mustEnd(controller.PhaseDone)
}

func TestNewNodeTakesTheEpochOfAnOldFarmAndNoneNearTheEnd(t *testing.T) {
	y := newYard(t, 1, Options{Quiet: true})
	n := y.farm.nodes[0]
	n.epoch, n.beat = 0, 0
	n.renew(&y.farm.network, firstEpoch+1, 1)
	if n.epoch != 0 {
		t.Errorf("took epoch %d", n.epoch)
	}
	n.renew(&y.farm.network, 5000, 1)
	if n.epoch != 5000 {
		t.Errorf("an old farm's epoch is refused: %d", n.epoch)
	}
}
