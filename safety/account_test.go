package safety

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"leat/dosing"
	"leat/safety/response"
)

// thirsty is a farm that wants far more acid than it may have.
func thirsty(t *testing.T, change ...func(*Settings)) *farm {
	f := newFarm(t, change...)
	f.w.Aim(0, dosing.Target{PH: 5, EC: 2})
	f.pass(10 * time.Minute)
	return f
}

// pour doses acid for so long as the gate allows any, a dose each half minute, and returns
// how much that was.
func (f *farm) pour(lasting time.Duration) (sum dosing.Volume) {
	for end := f.now.Up + lasting; f.now.Up < end; {
		if most, _ := f.g.Largest(f.now, 0, acidPump); most > 0 {
			f.dose(0, acidPump, most)
			sum += most
		}
		f.pass(30 * time.Second)
	}
	return sum
}

// accountMost is 0.30 pH at two thirds of 1 meq/L per pH in 1000 L, of acid of 10 meq/mL.
const accountMost = dosing.Volume(0.3 * 0.67 * 1000 / 10 * 1000)

func TestAcidThatNoReadingShowsStopsAtItsLimitHoweverLongItIsWaited(t *testing.T) {
	f := thirsty(t)
	if sum := f.pour(time.Hour); sum > accountMost+2*accountMost/6 || sum < accountMost*8/10 {
		t.Errorf("%s in an hour, want about %s", sum, accountMost)
	}
	if sum := f.pour(12 * time.Hour); sum > 2*accountMost/6 {
		t.Errorf("%s more in twelve hours, although nothing answered", sum)
	}
}

// carbonated is a farm whose water is believed to buffer five times what it was told to: what
// may be unseen is then too little for the response test.
func carbonated(t *testing.T) *farm {
	f := thirsty(t)
	f.w.Learned(0, math.Log(5), 0.5, 0)
	return f
}

func TestTestsThatNothingAnswersCallAPersonAndLatchNothing(t *testing.T) {
	f := carbonated(t)
	f.pour(30 * time.Minute)
	if why := f.w.Unanswered(0); why != "" {
		t.Errorf("called before the tests had their time: %s", why)
	}
	f.pour(3 * time.Hour)
	if why := f.w.Unanswered(0); !strings.Contains(why, "pH of acid not yet seen") {
		t.Fatalf("two tests at the limit were not answered, yet %q", why)
	}
	if trips := f.w.Trips(0); slices.ContainsFunc(trips, func(trip Trip) bool { return trip.Latched }) {
		t.Errorf("silence of two small doses is no proof of a dead pump, yet %+v", trips)
	}
	f.set(0, dosing.QuantityPH, 5.95)
	f.pass(30 * time.Minute)
	if why := f.w.Unanswered(0); why != "" {
		t.Errorf("the reading moves by itself, yet %s", why)
	}
}

func TestServiceAllowsTheTestsOnceMore(t *testing.T) {
	f := carbonated(t)
	f.pour(6 * time.Hour)
	if more := f.pour(2 * time.Hour); more > 0 {
		t.Fatalf("%s went in after tests that nothing answered", more)
	}
	f.w.Serviced(f.now, 0)
	if f.pass(time.Minute); f.w.Unanswered(0) != "" {
		t.Errorf("a service was entered, yet %s", f.w.Unanswered(0))
	}
	if more := f.pour(4 * time.Hour); more == 0 || more > accountMost*testsAfterService/6 {
		t.Errorf("%s went in after the service, want two small doses", more)
	}
}

// testsAfterService: the first dose after a service is one of its own.
const testsAfterService = 3

func TestMeasuredBufferLetsMoreBeUnseen(t *testing.T) {
	told := thirsty(t, func(s *Settings) { s.Tanks[0].BufferSpread = 0.2 })
	if sum, least := told.pour(time.Hour), accountMost*86/67; sum < least*95/100 || sum > least+2*least/6 {
		t.Errorf("%s in an hour, want about %s", sum, least)
	}
}

func TestTimeReleasesNothing(t *testing.T) {
	f := thirsty(t)
	f.pour(10 * time.Minute)
	given := f.w.Unseen(0).Acid
	f.pass(3 * time.Hour)
	if left := f.w.Unseen(0).Acid; given <= 0 || left < given {
		t.Errorf("of %.4f meq/L that no reading showed %.4f stand after three hours", given, left)
	}
}

func TestFirstDoseAfterArmingServiceAndALongPauseIsSmall(t *testing.T) {
	small := dosing.Volume(float64(accountMost)*testPH/accountPH) * 99 / 100
	f := freshFarm(t)
	f.pass(90 * time.Second)
	first := func(after string) {
		t.Helper()
		largest, _ := f.g.Largest(f.now, 0, acidPump)
		if largest > small*102/100 || largest < small {
			t.Errorf("after %s the first dose is %s, want %s", after, largest, small)
		}
	}
	f.w.Aim(0, dosing.Target{PH: 5.0, EC: 2})
	first("arming")
	f.dose(0, acidPump, small)
	if largest, cause := f.g.Largest(f.now, 0, acidPump); largest > 0 || cause != CauseUnconfirmed {
		t.Errorf("a second one at once: %s (%s)", largest, cause)
	}
	f.pass(f.s.Tanks[0].DeadTime + f.s.Tanks[0].TimeConstant/2 + 30*time.Second)
	if largest, _ := f.g.Largest(f.now, 0, acidPump); largest < small*3/2 {
		t.Errorf("far from the setpoint one small dose must do, yet the second is %s", largest)
	}
	f.w.Serviced(f.now, 0)
	f.pass(time.Minute)
	first("service")
	f.pass(pausedFor + time.Minute)
	first("a pause")
	f.w.tanks[0].accounts[response.Acid].tastes = tastesNear
	f.w.Refilled(acidPump)
	first("a refill")
}

func TestNearTheSetpointASecondSmallDoseComesFirst(t *testing.T) {
	f := freshFarm(t)
	f.pass(90 * time.Second)
	f.w.Aim(0, dosing.Target{PH: 5.7, EC: 2})
	for range 2 {
		largest, _ := f.g.Largest(f.now, 0, acidPump)
		if most := dosing.Volume(float64(accountMost) * testPH / accountPH); largest <= 0 || largest > most {
			t.Errorf("a first dose of %s, at most %s", largest, most)
		}
		f.dose(0, acidPump, largest)
		f.pass(f.s.Tanks[0].DeadTime + f.s.Tanks[0].TimeConstant + 30*time.Second)
	}
	if tank := &f.w.tanks[0]; !tank.accounts[response.Acid].tried(tank) {
		t.Error("two small doses had their time to show, yet a third is asked for")
	}
}

func TestFullAccountNamesItselfInWords(t *testing.T) {
	f := thirsty(t)
	f.pour(3 * time.Minute)
	v := f.judge(0, acidPump, 4*dosing.Millilitre)
	f.wantCause("full", v, CauseUnconfirmed)
	if !strings.Contains(v.Detail, "of 0.30 pH of acid not yet seen by the probe") {
		t.Errorf("detail %q", v.Detail)
	}
	if words := f.w.UnseenWords(0, dosing.RoleAcid); !strings.HasPrefix(v.Detail, words) {
		t.Errorf("%q, and %q", words, v.Detail)
	}
	if words := f.w.UnseenWords(0, dosing.RoleStock); words != "0.00 of 0.20 mS/cm of stock not yet seen by the probe" {
		t.Errorf("of stock: %q", words)
	}
}

func TestReadingThatFollowsItsDosesReleasesThem(t *testing.T) {
	f := thirsty(t)
	f.pour(3 * time.Minute)
	before := f.w.Unseen(0).Acid
	f.set(0, dosing.QuantityPH, 5.6)
	f.pass(15 * time.Minute)
	if after := f.w.Unseen(0).Acid; before < 0.15 || after > 0.02 {
		t.Errorf("%.3f meq/L unseen, and %.3f after the pH fell by 0.2", before, after)
	}
	if most, cause := f.g.Largest(f.now, 0, acidPump); most == 0 {
		t.Errorf("nothing more: %s", cause)
	}
}

func TestReadingThatHasNotComeToRestReleasesOnlyAsMuchAsItMoved(t *testing.T) {
	f := thirsty(t)
	f.pour(3 * time.Minute)
	before := f.w.Unseen(0).Acid
	f.set(0, dosing.QuantityPH, 5.75)
	f.pass(90 * time.Second)
	if after := f.w.Unseen(0).Acid; after < before-0.051 || after > before-0.01 {
		t.Errorf("%.3f of %.3f meq/L unseen after pH fell by 0.05, want at most 0.05 less", after, before)
	}
}

// Acid that has stopped a drift of 1.8 pH an hour for three minutes did more than the 0.08 that is
// seen of it; but no more than as much again is believed.
func TestDosesThatStoppedADriftReleaseMoreThanTheyMoved(t *testing.T) {
	released := func(rising float64) float64 {
		f := thirsty(t)
		id := f.input(0, dosing.QuantityPH)
		for range 24 {
			f.value[id] += rising / 24
			f.pass(10 * time.Second)
		}
		for end := f.now.Up + 3*time.Minute; f.now.Up < end; { // it still rises while acid is on its way
			if most, _ := f.g.Largest(f.now, 0, acidPump); most > 0 {
				f.dose(0, acidPump, most)
			}
			f.value[id] += rising / 48
			f.pass(10 * time.Second)
		}
		before := f.w.Unseen(0).Acid
		f.value[id] -= 0.08
		f.pass(110 * time.Second)
		return before - f.w.Unseen(0).Acid
	}
	still, drifting := released(0), released(0.12)
	if still < 0.01 || drifting < 1.3*still || drifting > 2.2*still {
		t.Errorf("a fall of 0.08 released %.3f meq/L, and %.3f after a drift", still, drifting)
	}
}

func TestReadingThatAnswersTheWrongWayReleasesNothing(t *testing.T) {
	f := thirsty(t)
	f.pour(2 * time.Minute)
	before := f.w.Unseen(0).Acid
	f.set(0, dosing.QuantityPH, 5.95)
	f.pass(3 * time.Minute)
	if after := f.w.Unseen(0).Acid; after < before {
		t.Errorf("%.3f of %.3f meq/L unseen while pH rises as acid arrives", after, before)
	}
}

func TestReadingThatMovesByItselfShowsWhatHasArrived(t *testing.T) {
	f := thirsty(t)
	f.pour(8 * time.Minute)
	f.w.SetMode(f.now, 0, ModeObserving)
	before := f.w.Unseen(0).Acid
	f.pass(10 * time.Minute)
	f.set(0, dosing.QuantityPH, 5.88)
	f.pass(4 * time.Minute)
	if after := f.w.Unseen(0).Acid; before < 0.15 || after > 0.02 {
		t.Errorf("%.3f of %.3f meq/L unseen", after, before)
	}
}

func TestNothingThatIsSaidReleasesWhatNoReadingShowed(t *testing.T) {
	f := thirsty(t)
	f.pour(8 * time.Minute)
	before := f.w.Unseen(0)
	for name, say := range map[string]func(){
		"reload":         func() { f.w.Reconfigure(f.now, farmSettings(), nil) },
		"service":        func() { f.w.Serviced(f.now, 0) },
		"confirmation":   func() { f.w.Confirm(f.now, 0) },
		"mode":           func() { f.w.SetMode(f.now, 0, ModeObserving); f.w.SetMode(f.now, 0, ModeArmed) },
		"clearing":       func() { f.w.Clear(f.now, 0) },
		"learned buffer": func() { f.w.Learned(0, 1, 0.1, 9) },
		"lost link":      func() { f.w.Link(f.now, false); f.w.Link(f.now, true) },
	} {
		say()
		f.pass(20 * time.Minute)
		if after := f.w.Unseen(0); after.Acid < before.Acid-1e-9 {
			t.Errorf("%s: %.3f of %.3f meq/L", name, after.Acid, before.Acid)
		}
	}
}

func TestWithdrawnDoseLeavesTheAccountAndAnotherFateDoesNot(t *testing.T) {
	for fate, counted := range map[Fate]float64{FateKnown: 0, FateRefused: 0.02, FateUnknown: 0.02} {
		f := thirsty(t)
		key := f.open(0, acidPump, 2*dosing.Millilitre)
		f.w.Closed(f.now, 0, acidPump, key, fate, 0)
		if got := f.w.Unseen(0).Acid; math.Abs(got-counted) > 1e-9 {
			t.Errorf("fate %d: %.4f meq/L unseen, want %.4f", fate, got, counted)
		}
	}
}

func TestRestartFindsWhatWasUnseenAndNoMoreThanTheLimit(t *testing.T) {
	f := thirsty(t)
	f.w.RestoreUnseen(f.now, 0, Unseen{Acid: 0.1}, map[dosing.PumpID]dosing.Volume{acidPump: 5 * dosing.Millilitre})
	if got := f.w.Unseen(0).Acid; math.Abs(got-0.15) > 1e-9 {
		t.Errorf("%.3f meq/L, want 0.10 as written and 0.05 since", got)
	}
	if _, cause := f.g.Largest(f.now, 0, acidPump); cause != CauseUnconfirmed {
		t.Errorf("after the restart: %s", cause)
	}
	f.w.RestoreUnseen(f.now, 0, Unseen{Acid: 50}, nil)
	f.pass(5 * time.Minute)
	if got := f.w.Unseen(0).Acid; math.Abs(got-0.2) > 0.002 {
		t.Errorf("%.3f meq/L; a full account is full", got)
	}
}

// A gauge that fails low makes a tank look like a bucket; after a restart it is not believed yet.
func TestRestartFindsNoLessOfWhatAPersonPouredInThanWasCountedLive(t *testing.T) {
	pour := dosing.Dose{Key: 1 << 40, Tank: 0, Pump: acidPump, Volume: 5 * dosing.Millilitre, Hand: true}
	live := thirsty(t)
	live.set(0, dosing.QuantityLevel, 30)
	live.pass(time.Minute)
	pour.Up = live.now.Up
	live.w.ByHand(pour)
	again := freshFarm(t)
	again.w.RestoreUnseen(again.now, 0, Unseen{}, map[dosing.PumpID]dosing.Volume{acidPump: pour.Volume})
	if counted, found := live.w.Unseen(0).Acid, again.w.Unseen(0).Acid; counted <= 0 || found < counted-1e-9 {
		t.Errorf("%.4f meq/L counted live, a restart finds %.4f", counted, found)
	}
}

func TestRecordIsToldOnceEvidenceHasReleasedAnything(t *testing.T) {
	f := thirsty(t)
	f.pour(8 * time.Minute)
	if _, due := f.w.UnseenToRecord(f.now, 0); due {
		t.Error("nothing was released, yet the record is told")
	}
	f.set(0, dosing.QuantityPH, 5.6)
	f.pass(15 * time.Minute)
	u, due := f.w.UnseenToRecord(f.now, 0)
	if !due || u != f.w.Unseen(0) {
		t.Errorf("%+v %v, want %+v", u, due, f.w.Unseen(0))
	}
	if _, due := f.w.UnseenToRecord(f.now, 0); due {
		t.Error("the record is told twice")
	}
}

func TestTopUpThatNoProbeBearsOutMeetsNoMoreAcidThanTheAccountHolds(t *testing.T) {
	f := thirsty(t)
	sum := dosing.Volume(0)
	for range 12 { // each brings 0.04 meq/L as told, and would let as much acid through
		f.w.tanks[0].meet(0.04)
		sum += f.pour(8 * time.Minute)
	}
	// The account, what meets it once more, and two tests.
	if most := 2*accountMost + 2*accountMost/6; sum > most || sum < accountMost {
		t.Errorf("%s of acid against top-up while pH stood still; at most %s", sum, most)
	}
	f.set(0, dosing.QuantityPH, 5.88)
	f.pass(15 * time.Minute)
	if met := f.w.tanks[0].accounts[response.Acid].met; met != 0 {
		t.Errorf("the probe moved, and %.3f meq/L still count as met unseen", met)
	}
}

func TestShareOfTheAccountIsToldByReagent(t *testing.T) {
	f := thirsty(t)
	f.pour(3 * time.Minute)
	if share := f.w.UnseenShare(0, dosing.RoleAcid); share < 0.8 || share > 1.2 {
		t.Errorf("a full account is told as %.2f", share)
	}
	if acid, base := f.w.UnseenMost(0, dosing.RoleAcid), f.w.UnseenShare(0, dosing.RoleBase); math.Abs(acid-0.2) > 0.002 || base != 0 {
		t.Errorf("at most %.3f meq/L of acid, %.2f of base", acid, base)
	}
}

func TestSilenceOfATestCountsOnlyWhereTheAccountWasFull(t *testing.T) {
	f := thirsty(t)
	f.pour(3 * time.Minute)
	a := &f.w.tanks[0].accounts[response.Acid]
	for share, tests := range map[float64]int{0.7: 0, 0.95: 1} { // 0.7: some of it was seen since it filled
		a.full, a.tests, a.given = true, 0, share*f.w.UnseenMost(0, dosing.RoleAcid)
		f.w.enter(dosing.Dose{Tank: 0, Pump: acidPump, Volume: 2 * dosing.Millilitre, Up: f.now.Up, Open: true})
		if a.tests != tests {
			t.Errorf("at %.2f of the limit %d tests, want %d", share, a.tests, tests)
		}
	}
}

// The believed buffer fell for a moment, by which the account was full, and rose again: what comes next is a first
// dose still, and not all that the account leaves.
func TestAnAccountThatIsNoLongerFullBeginsWithAFirstDose(t *testing.T) {
	a, tank := newAccount(response.Base), &tankState{}
	const limit = 0.2
	a.given = 0.01
	a.fill(limit / 100)
	if !a.full {
		t.Fatal("a hundredth of the limit does not fill it: this tests nothing")
	}
	if room, first := a.room(tank, limit, 0, false), a.test(limit); room != first {
		t.Errorf("it leaves %g meq/L, a first dose is %g", room, first)
	}
}

// phosphate is a solution buffered by nothing but phosphate, in mmol/L (pKa 6.8 at the ionic strength of a nutrient
// solution; CRC Handbook gives 7.21 at none).
type phosphate float64

func (p phosphate) base(pH float64) float64             { return float64(p) / (1 + math.Pow(10, 6.8-pH)) }
func (p phosphate) AcidNeeded(from, to float64) float64 { return p.base(from) - p.base(to) }
func (p phosphate) PHAfter(from, acid float64) float64 {
	left := p.base(from) - acid
	return 6.8 - math.Log10(float64(p)/left-1)
}
func (p phosphate) Buffer(pH float64) float64 {
	share := p.base(pH) / float64(p)
	return float64(math.Ln10 * float64(p) * share * (1 - share))
}

// Below the setpoint phosphate buffers less and less: 0.30 pH at the setpoint's own buffer would be 0.45 pH of acid.
func TestAcidThatNoReadingShowsIsBoundedAlongTheCurve(t *testing.T) {
	f := newFarm(t)
	tank, water := &f.w.tanks[0], phosphate(2)
	tank.curve = water
	f.value[f.input(0, dosing.QuantityPH)] = 5.8
	f.pass(30 * time.Minute)
	commissioned, _ := tank.buffers()
	for class, most := range [...]float64{response.Acid: water.AcidNeeded(5.8, 5.5), response.Base: 0.3 * water.Buffer(5.8)} {
		a := &tank.accounts[class]
		if limit := a.limit(tank, commissioned) / a.weakest(tank); math.Abs(limit-most) > 0.02*most {
			t.Errorf("%s: %.3f meq/L may be unseen in water of the commissioned buffer, wanted %.3f", a.class, limit, most)
		}
	}
}
