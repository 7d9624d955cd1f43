package safety

import (
	"testing"
	"time"

	"leat/dosing"
)

// another adds an input of a quantity to the northern tank and says how to find it.
func another(q dosing.Quantity, of *dosing.InputID) func(*Settings) {
	return func(s *Settings) {
		*of = dosing.InputID(len(s.Inputs))
		s.Inputs = append(s.Inputs, Input{Name: "north second " + q.String(), Quantity: q, Period: 5 * time.Second})
	}
}

func TestOfTwoSwitchesTheOneThatDoesNotAnswerHolds(t *testing.T) {
	for _, q := range []dosing.Quantity{dosing.QuantityCirculation, dosing.QuantityLeak, dosing.QuantitySampleFlow} {
		var second dosing.InputID
		f := newFarm(t, another(q, &second))
		f.wantFree(0, "both answer", allFree)
		for _, silent := range []dosing.InputID{f.input(0, q), second} {
			f.mute[silent] = true
			f.pass(25 * time.Second)
			f.wantFree(0, "one "+q.String()+" is silent", noneFree)
			f.mute[silent] = false
			f.pass(6 * time.Minute)
			f.wantFree(0, "it answers again", allFree)
		}
	}
}

func TestTheAgeOfAReadingIsTold(t *testing.T) {
	var second dosing.InputID
	for _, change := range [][]func(*Settings){nil, {another(dosing.QuantityPH, &second)}} {
		f := newFarm(t, change...)
		for i := range f.s.Inputs {
			if f.s.Inputs[i].Quantity == dosing.QuantityPH && f.s.Inputs[i].Tank == 0 {
				f.mute[dosing.InputID(i)] = true
			}
		}
		f.pass(20 * time.Second)
		if trip, _ := f.trip(0, CausePHStale); trip.Detail[len("north "):] == "" {
			t.Errorf("%q", trip.Detail)
		}
		f.pass(3 * time.Minute)
		trip, _ := f.trip(0, CausePHStale)
		if want := " is 3 min old; at most 15 s"; len(trip.Detail) < len(want) || trip.Detail[len(trip.Detail)-len(want):] != want {
			t.Errorf("%d changes: it reads %q", len(change), trip.Detail)
		}
	}
}

func TestATankMayHaveAnyNumberOfProbes(t *testing.T) {
	var ids [10]dosing.InputID
	var changes []func(*Settings)
	for i := range ids {
		changes = append(changes, another(dosing.QuantityPH, &ids[i]))
	}
	f := newFarm(t, changes...)
	f.wantFree(0, "eleven pH probes", allFree)
	if got, ok := f.w.Fit(0, dosing.QuantityPH); !ok || got < 5.78 || got > 5.82 {
		t.Errorf("their common value is %.3f, %v", got, ok)
	}
}

func TestAJumpIsMeasuredByItsLimitAndByWhatExplainsIt(t *testing.T) {
	ec := Input{Quantity: dosing.QuantityEC}
	for name, c := range map[string]struct {
		in             Input
		moved, watered bool
		from, to       float64
		believed       bool
	}{
		"pH by as much as the limit":            {Input{Quantity: dosing.QuantityPH}, false, false, 6, 6.3, true},
		"pH by more":                            {Input{Quantity: dosing.QuantityPH}, false, false, 6, 5.69, false},
		"pH, dosed, by as much as doses do":     {Input{Quantity: dosing.QuantityPH}, true, false, 6, 5.4, true},
		"pH, dosed, by more":                    {Input{Quantity: dosing.QuantityPH}, true, false, 6, 5.39, false},
		"weak EC falls by little":               {ec, false, false, 0.5, 0.41, true},
		"weak EC falls by more":                 {ec, false, false, 0.5, 0.39, false},
		"EC falls by a tenth":                   {ec, false, false, 2, 1.81, true},
		"EC falls by more":                      {ec, false, false, 2, 1.79, false},
		"strong EC falls by more than it may":   {ec, false, false, 4, 3.69, false},
		"strong EC falls by less":               {ec, false, false, 4, 3.71, true},
		"EC falls as water comes in":            {ec, false, true, 2, 1.71, true},
		"EC falls further as water comes in":    {ec, false, true, 2, 1.69, false},
		"EC rises as far as a probe that jumps": {ec, false, false, 2, 2.29, true},
	} {
		p := newProbe(t, c.in)
		p.settle(c.from)
		p.moved, p.watered = c.moved, c.watered
		if got := p.read(5*time.Second, c.to).MayDose(); got != c.believed {
			t.Errorf("%s: %g to %g believed: %v", name, c.from, c.to, got)
		}
	}
}

// Ten seconds of silence explain a jump of 0.3 pH, a minute six times as much, once it lasts.
func TestAfterASilenceAReadingMayLieFurtherOffWhenItLasts(t *testing.T) {
	for to, believed := range map[float64]bool{7.5: true, 7.7: false, 4.1: true, 3.9: false} {
		p := pHProbe(t)
		p.settle(5.8)
		p.want("at first", p.read(time.Minute, to), dosing.QualityOutOfSpecification)
		p.read(15*time.Second, to)
		if p.read(14*time.Second, to).MayDose() {
			t.Errorf("%g is believed after 29 s", to)
		}
		if got := p.read(time.Second, to).MayDose(); got != believed {
			t.Errorf("%g after a minute of silence, for half a minute: believed %v", to, got)
		}
	}
}

func TestReadingsThatDisagreeWithEachOtherBorrowNoTimeFromEachOther(t *testing.T) {
	p := pHProbe(t)
	p.settle(5.8)
	p.read(time.Minute, 7.4)
	p.read(15*time.Second, 6.4)
	if p.read(15*time.Second, 6.4).MayDose() || p.read(14*time.Second, 6.4).MayDose() {
		t.Error("6.4 is believed though it has not lasted for half a minute")
	}
	if !p.read(time.Second, 6.4).MayDose() {
		t.Error("6.4 has lasted for half a minute and is not believed")
	}
}

func TestAnInputThatSentRubbishAndThenNothingIsSilent(t *testing.T) {
	f := newFarm(t)
	f.noise = 0
	id := f.input(0, dosing.QuantityPH)
	f.pass(5 * time.Second)
	f.silence(0, dosing.QuantityPH, true)
	f.pass(10 * time.Second)
	for range 5 {
		f.w.Rejected(f.now, id, "not a number")
	}
	f.pass(15 * time.Second)
	if trip, tripped := f.trip(0, CausePHInvalid); !tripped || trip.Detail != "north ph reads 5.80: last message refused: not a number" {
		t.Errorf("it sends what cannot be used: %+v", f.w.Trips(0))
	}
	f.pass(time.Second)
	if _, tripped := f.trip(0, CausePHStale); !tripped {
		t.Errorf("it sends nothing any more: %+v", f.w.Trips(0))
	}
}

func TestWhyAReadingWasNotFitIsTold(t *testing.T) {
	f := newFarm(t)
	id := f.input(0, dosing.QuantityPH)
	f.silence(0, dosing.QuantityPH, true)
	f.send(id, 5.8, 0, false)
	if came, stands := f.w.Doubt(f.now, id); came != "" || stands != "" {
		t.Errorf("a good reading: %q, %q", came, stands)
	}
	f.send(id, 7.4, 0, false)
	if came, stands := f.w.Doubt(f.now, id); came != faultTexts[faultJump] || stands != "" {
		t.Errorf("a wild one that was thrown away: %q, %q", came, stands)
	}
	f.pass(20 * time.Second)
	if _, stands := f.w.Doubt(f.now, id); stands != "no reading that is young enough" {
		t.Errorf("too old: %q", stands)
	}
	ec := f.input(0, dosing.QuantityEC)
	f.set(0, dosing.QuantityEC, 0.01)
	f.pass(20 * time.Second)
	if came, stands := f.w.Doubt(f.now, ec); came == "" || stands != came {
		t.Errorf("out of range: %q, %q", came, stands)
	}
	if came, stands := f.w.Doubt(f.now, 99); came != "" || stands != "" {
		t.Error("an input that is not there is doubted")
	}
}

// A sensor of leaks that reads wet holds at once. It latches when it has said so three
// times over half a minute, and contacts that bounce are one trouble.
func TestWaterOnTheFloorLatchesByThreeReadingsOverHalfAMinute(t *testing.T) {
	for name, c := range map[string]struct {
		gaps    []time.Duration // between wet readings
		latched bool
	}{
		"three over half a minute":      {[]time.Duration{15 * time.Second, 15 * time.Second}, true},
		"three in less":                 {[]time.Duration{14 * time.Second, 15 * time.Second}, false},
		"two over half a minute":        {[]time.Duration{29 * time.Second}, false},
		"three, each half a minute off": {[]time.Duration{30 * time.Second, 30 * time.Second}, false},
	} {
		f := newFarm(t)
		id := f.input(0, dosing.QuantityLeak)
		f.mute[id] = true
		f.send(id, 1, 0, false)
		f.pass(time.Second)
		if _, tripped := f.trip(0, CauseLeak); !tripped {
			t.Errorf("%s: one wet reading holds nothing", name)
		}
		for _, gap := range c.gaps {
			f.send(id, 0, 0, false)
			f.pass(gap - time.Second)
			f.send(id, 1, 0, false)
			f.pass(time.Second)
		}
		if trip, tripped := f.trip(0, CauseLeak); !tripped || trip.Latched != c.latched {
			t.Errorf("%s: %v %+v", name, tripped, trip)
		}
	}
}

func TestWhatANodeSaysLaterOfADoseIsNoDrift(t *testing.T) {
	for name, more := range map[string]func(*farm, uint64){
		"in its report": func(f *farm, key uint64) {
			f.w.Closed(f.now, 0, acidPump, key, FateKnown, 60*dosing.Millilitre)
		},
		"after its report": func(f *farm, key uint64) {
			f.w.Closed(f.now, 0, acidPump, key, FateKnown, dosing.Millilitre)
			f.pass(5 * time.Second)
			f.w.Raised(f.now, 0, acidPump, key, 60*dosing.Millilitre, dosing.Millilitre)
		},
	} {
		f := newFarm(t)
		f.pass(10 * time.Minute)
		key := f.open(0, acidPump, dosing.Millilitre)
		f.pass(5 * time.Second)
		more(f, key)
		f.pass(40 * time.Second)
		if trip, tripped := f.trip(0, CauseUnexplainedChange); tripped {
			t.Errorf("60 mL counted %s: %+v", name, trip)
		}
	}
}
