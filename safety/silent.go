package safety

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
	"leat/safety/response"
)

// A probe that scatters as it should and stands in the dead band asks for no dose, and nothing tells it from one in
// held water until something is dosed. So a pH that has not moved for hours is tested: a small dose of what brings the
// setpoint nearer, and another. Of a probe that shows neither nothing is believed: acid and base are held, and a person asked.
const (
	stillFor   = 6 * time.Hour
	stillMove  = 0.03 // pH beyond which a mean has moved
	stillRetry = time.Hour

	testWorth = 0.05 // pH of a test, and what the reading lies beyond the setpoint, up to
	testAlso  = 0.03
	testLeast = 0.015                      // pH, less than which shows nothing
	testShown = 0.2                        // share of it that must show: a buffer may be told wrong by three
	testSure  = 0.15                       // share of it that the readings leave unsure, at most
	testCount = 2                          // tests that show nothing
	testBins  = response.BinsPerMixing     // that make a mean
	testSent  = 10 * time.Minute           // within which a test that was asked for goes out
	aliveBins = response.BinsPerMixing / 2 // that make a mean which may have moved
)

// silence follows whether the pH of a tank moves at all.
type silence struct {
	bin    int64
	means  span
	since  time.Duration // when it last moved
	begun  bool
	retry  time.Duration
	asked  time.Duration // for the test under way; 0 = none is
	worth  float64       // of it, pH
	role   dosing.Role   // acid or base
	before response.Mean // the first test
	given  float64       // by tests, pH
	tests  int
	words  string // what they showed; empty = nothing is wrong
}

// moved begins anew: the probe is alive.
func (s *silence) moved(up time.Duration, bin int64) { *s = silence{bin: bin, since: up, begun: true} }

// checkSilent holds acid and base once tests have shown nothing.
func checkSilent(w *Watch, now dosing.Instant, t *tankState) {
	if t.responses != nil {
		w.followSilence(now, t)
	}
	t.put(now, CauseProbeSilent, t.silence.words != "", t.silence.words)
}

func (w *Watch) followSilence(now dosing.Instant, t *tankState) {
	s, k := &t.silence, t.responses.Track(response.Acid)
	bin := k.Bin(now.Up)
	if bin == s.bin {
		return
	}
	s.bin = bin
	recent := k.Over(bin-aliveBins, bin)
	if !recent.Ok || t.group[dosing.QuantityPH].standing != standFit || t.flood.Within(t.plant.FloodWait(), now.Up) {
		if s.words == "" {
			s.begun = false
		}
		return
	}
	if !s.begun {
		s.moved(now.Up, bin)
	}
	if s.means.note(recent); s.means.beyond(stillMove) {
		s.moved(now.Up, bin)
		s.means.note(recent)
		return
	}
	s.judge(t, now.Up, k)
}

// judge looks at a test that had its time.
func (s *silence) judge(t *tankState, up time.Duration, k *response.Track) {
	if s.asked == 0 {
		return
	}
	sent := max(t.accounts[response.Acid].last, t.accounts[response.Base].last)
	switch wait := 2 * t.plant.MixingTime(); {
	case sent < s.asked && up-s.asked > testSent:
		s.asked, s.retry = 0, up+stillRetry // the gate would not have it
		return
	case sent < s.asked, up-sent < wait:
		return
	}
	s.given += s.worth
	s.tests++
	bin := k.Bin(up)
	after := k.Over(bin-testBins, bin)
	by, sd := math.Abs(after.Value-s.before.Value), math.Sqrt(after.Variance+s.before.Variance)
	s.asked, s.retry = 0, up
	switch {
	case !after.Ok || sd > float64(testSure*s.given):
		s.retry = up + stillRetry
	case by >= float64(testShown*s.given):
		s.moved(up, bin)
	case s.tests >= testCount:
		s.words = fmt.Sprintf("%d test doses worth %.2f pH moved it by %.3f, give or take %.3f; it had stood still for %s", s.tests, s.given, by, sd, words(up-s.since))
	}
}

// Test is the dose by which a tank's pH probe is tested, if that is due and the limits leave room for it. It goes through
// gate and ledger as any other.
func (ac *accounts) Test(now dosing.Instant, id dosing.TankID, limits []dosing.Volume) (dosing.Plan, bool) {
	t := &ac.tanks[id]
	s, reads := &t.silence, t.group[dosing.QuantityPH].smooth
	given := max(t.accounts[response.Acid].last, t.accounts[response.Base].last)
	if t.mode != ModeArmed || t.responses == nil || !t.aimed || !s.begun || s.words != "" || s.asked > 0 || now.Up-s.since < stillFor || now.Up < s.retry ||
		t.group[dosing.QuantityPH].standing != standFit || now.Up-given < 3*t.plant.MixingTime() || t.off() >= startBand {
		return dosing.Plan{}, false
	}
	role := s.role
	if role == dosing.RoleNone && reads < float64(t.target.PH) {
		role = dosing.RoleBase
	} else if role == dosing.RoleNone {
		role = dosing.RoleAcid
	}
	if plan, ok := ac.testBy(now, t, role, limits); ok {
		return plan, true
	}
	if opposite, ok := role.Opposite(); ok {
		if plan, ok := ac.testBy(now, t, opposite, limits); ok {
			return plan, true
		}
	}
	s.retry = now.Up + stillRetry
	return dosing.Plan{}, false
}

// testBy is a test by acid or by base.
func (ac *accounts) testBy(now dosing.Instant, t *tankState, role dosing.Role, limits []dosing.Volume) (dosing.Plan, bool) {
	s, wanted := &t.silence, testWorth+min(t.off(), testAlso)
	if above := t.group[dosing.QuantityPH].smooth > float64(t.target.PH); above != (role == dosing.RoleAcid) {
		wanted = testWorth - t.off() // it leads away from the setpoint, and may lead no farther than any dose
	}
	buffer, _ := t.buffers()
	for class := response.Acid; class <= response.Base; class++ {
		// Never by the scale that the loop learned: silence teaches it a strong buffer.
		if usual, answers := t.responses.Usual(class); answers > 0 {
			buffer *= math.Exp(max(-usual, 0))
			break
		}
	}
	for i := range ac.settings.Pumps {
		pump := &ac.settings.Pumps[i]
		_, perML, ok := ac.amount(t, pump, dosing.Millilitre)
		if !ok || pump.Role != role || !pump.ServesTank(t.id) || !(perML > 0) {
			continue
		}
		volume := min(max(volumeOf(float64(max(wanted, 0)*buffer), perML), pump.MinDose), limits[i])
		worth := float64(volume.Millilitres()*perML) / buffer
		if volume < pump.MinDose || !(worth >= testLeast) {
			continue
		}
		k := t.responses.Track(response.Acid)
		if bin := k.Bin(now.Up); !s.before.Ok {
			s.before = k.Over(bin-testBins, bin)
		}
		s.asked, s.worth, s.role = now.Up, worth, role
		return dosing.Plan{Tank: t.id, Pump: dosing.PumpID(i), Volume: volume, Reason: dosing.ReasonTest}, true
	}
	return dosing.Plan{}, false
}
