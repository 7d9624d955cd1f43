package safety

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
)

// notch is water of one buffer capacity with a dip at one pH.
type notch struct {
	line
	at float64
}

func (n notch) Buffer(pH float64) float64 {
	if math.Abs(pH-n.at) < 0.001 {
		return float64(n.line) / 4
	}
	return float64(n.line)
}

// The weakest buffer anywhere between the reading and the setpoint counts, since the dose
// leads there; once the water has answered, no farther ahead than what may be in transit.
func TestTheWeakestBufferOnTheWayToTheSetpointCounts(t *testing.T) {
	for _, c := range []struct {
		target, at float64
		trusted    bool
		weak       bool
	}{
		{4.8, 5.8, false, true}, {4.8, 5.55, false, true}, {4.8, 5.3, false, true}, {4.8, 5.05, false, true}, {4.8, 4.8, false, true},
		{6.8, 6.05, false, true}, {6.8, 6.55, false, true}, {6.8, 6.8, false, true},
		{4.8, 5.5, true, true}, {4.8, 4.8, true, false}, {4.8, 5.3, true, false},
		{6.8, 6.1, true, true}, {6.8, 6.8, true, false}, {6.8, 6.3, true, false},
		{5.7, 5.7, true, true}, {5.9, 5.9, true, true},
	} {
		f := newFarm(t)
		f.noise = 0
		f.pass(10 * time.Second)
		f.w.Aim(0, dosing.Target{PH: dosing.PH(c.target), EC: 2})
		f.w.tanks[0].curve = notch{1, c.at}
		want := math.Exp(-0.55)
		if c.trusted {
			f.tested().answers(acidPump, 1, 1)
			f.w.Learned(0, 0, 0.2, 3)
			want = math.Exp(-0.4)
		}
		if c.weak {
			want /= 4
		}
		if got := f.g.BufferFloor(f.now, 0); math.Abs(got-want) > 1e-9 {
			t.Errorf("setpoint %.1f, weak at %.2f, trusted %v: floor %.4f, want %.4f", c.target, c.at, c.trusted, got, want)
		}
	}
}

func TestSoftWaterGetsDosesInProportion(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Pumps[acidPump].MinDose = 100 * dosing.Microlitre })
	full, _ := f.g.Largest(f.now, 0, acidPump)
	f.w.tanks[0].curve = line(0.2)
	soft, cause := f.g.Largest(f.now, 0, acidPump)
	if cause != CauseNone || math.Abs(soft.Millilitres()-0.2*full.Millilitres()) > 0.002 {
		t.Errorf("%s where the buffer is 1 meq/L per pH, %s (%s) where it is a fifth", full, soft, cause)
	}
}

// In 1000 L of floor exp(-0.55) the effect cap is 5.769 mL of acid; a stock may be acid too.
func TestAStockThatIsAcidOrAlkalineIsBoundByItsPHAsWell(t *testing.T) {
	for _, acid := range []float64{2, -2} {
		f := newFarm(t, func(s *Settings) { s.Pumps[sulfatePump].AcidPerML = acid })
		want := dosing.FromMillilitres(0.1 * math.Exp(-0.55) * 1000 / 2)
		if largest, cause := f.g.Largest(f.now, 0, sulfatePump); largest != want || cause != CauseNone {
			t.Errorf("%+g meq/mL: largest %s (%s), want %s", acid, largest, cause, want)
		}
	}
}

func TestWhatIsOnItsWayTakesFromWhatMayFollow(t *testing.T) {
	for name, c := range map[string]struct {
		pump   dosing.PumpID
		target dosing.PH
	}{"acid": {acidPump, 5.0}, "base": {basePump, 6.6}} {
		f := newFarm(t)
		f.noise = 0
		f.pass(10 * time.Second)
		f.w.Aim(0, dosing.Target{PH: c.target, EC: 2})
		f.gave(0, c.pump, 15*dosing.Millilitre)
		want := dosing.FromMillilitres((0.3*math.Exp(-0.55) - 0.15) * 1000 / 10)
		if largest, cause := f.g.Largest(f.now, 0, c.pump); largest != want || cause != CauseNone {
			t.Errorf("%s with 15 mL on its way: %s (%s), want %s", name, largest, cause, want)
		}
		f.wantCause(name, f.judge(0, c.pump, want+1), CauseInTransitCap)
	}
}

func TestStocksOnTheirWayTakeFromWhatMayFollow(t *testing.T) {
	f := newFarm(t)
	f.w.Aim(0, dosing.Target{PH: 5.8, EC: 3})
	f.gave(0, calciumPump, 150*dosing.Millilitre)
	if largest, cause := f.g.Largest(f.now, 0, calciumPump); largest != 50*dosing.Millilitre || cause != CauseNone {
		t.Errorf("with 0.15 of 0.20 mS/cm on its way: %s (%s)", largest, cause)
	}
	if largest, cause := f.g.Largest(f.now, 0, acidPump); largest == 0 {
		t.Errorf("EC on its way holds acid: %s", cause)
	}
}

func TestAcidAndBaseKeepTheirDistanceToTheSecond(t *testing.T) {
	f := newFarm(t)
	f.noise = 0
	f.pass(time.Minute)
	f.gave(0, acidPump, dosing.Millilitre)
	f.w.Aim(0, dosing.Target{PH: 5.94, EC: 2}) // off by less than 0.15 whatever was given
	f.pass(20*time.Minute - time.Second)
	f.wantCause("a second before", f.judge(0, basePump, dosing.Millilitre), CauseAcidBaseChangeover)
	if v := f.judge(0, basePump, dosing.Millilitre); v.Detail != "the opposite reagent was dosed; 1 s to go" {
		t.Errorf("it reads %q", v.Detail)
	}
	f.pass(time.Second)
	if v := f.judge(0, basePump, dosing.Millilitre); !v.Allowed {
		t.Errorf("twenty minutes after: %+v", v)
	}
}

func TestConcentratesKeepTheirDistanceToTheSecond(t *testing.T) {
	f := newFarm(t)
	f.pass(time.Minute)
	f.gave(0, calciumPump, 5*dosing.Millilitre)
	f.pass(2*time.Minute - time.Second)
	v := f.judge(0, sulfatePump, 5*dosing.Millilitre)
	f.wantCause("a second before", v, CauseIncompatibleWait)
	if v.Detail != "1 s to go" {
		t.Errorf("it reads %q", v.Detail)
	}
	f.pass(time.Second)
	if v := f.judge(0, sulfatePump, 5*dosing.Millilitre); !v.Allowed {
		t.Errorf("one dead time and lag after: %+v", v)
	}
}

func TestFiguresOfARefusalAreThoseOfTheDose(t *testing.T) {
	f := newFarm(t, func(s *Settings) {
		s.Caps[basePump].PerDay = 3 * dosing.Millilitre
		s.Caps[basePump].PerHour = 3 * dosing.Millilitre
	})
	f.noise = 0
	f.pass(10 * time.Second)
	f.w.Aim(0, dosing.Target{PH: 5.0, EC: 3})
	f.gave(0, acidPump, 15*dosing.Millilitre)
	for what, c := range map[string]struct {
		pump   dosing.PumpID
		volume dosing.Volume
		want   string
	}{
		"effect":  {calciumPump, 101 * dosing.Millilitre, "101 mL would move pH by 0.00 or EC by 0.10 mS/cm; at most 100 mL"},
		"transit": {acidPump, 5 * dosing.Millilitre, "on its way: acid 0.26 and base 0.00 pH, EC 0.01 mS/cm; at most 2.308 mL more"},
		"dose":    {calciumPump, 201 * dosing.Millilitre, "201 mL; at most 200 mL"},
	} {
		if v := f.judge(0, c.pump, c.volume); v.Detail != c.want {
			t.Errorf("%s: %q, want %q", what, v.Detail, c.want)
		}
	}
	for what, c := range map[string]struct {
		pump   dosing.PumpID
		target dosing.Target
		want   string
	}{
		"base":  {basePump, dosing.Target{PH: 5.2, EC: 3}, "pH will settle at 5.65; wanted 5.20"},
		"stock": {calciumPump, dosing.Target{PH: 5.8, EC: 1.5}, "EC will settle at 1.92 mS/cm; wanted 1.50"},
	} {
		f.w.Aim(0, c.target)
		if v := f.judge(0, c.pump, 5*dosing.Millilitre); v.Cause != CauseAwayFromSetpoint || v.Detail != c.want {
			t.Errorf("%s: %s %q, want %q", what, v.Cause, v.Detail, c.want)
		}
	}
}

// One smallest dose passes where nothing is on its way; less than a hundredth of a pH is nothing.
func TestLessThanAHundredthOfAPHOnItsWayIsNothing(t *testing.T) {
	for given, passes := range map[dosing.Volume]bool{240 * dosing.Microlitre: true, 400 * dosing.Microlitre: false} {
		for _, way := range []struct {
			pump   dosing.PumpID
			target dosing.PH
		}{{acidPump, 5.5}, {basePump, 6.1}} {
			f := newFarm(t, func(s *Settings) { s.Pumps[way.pump].MinDose = 4900 * dosing.Microlitre })
			f.noise = 0
			f.pass(10 * time.Second)
			f.w.Aim(0, dosing.Target{PH: way.target, EC: 2})
			f.w.Learned(0, -math.Ln2*1.6, 0.05, 5)
			f.gave(0, way.pump, given)
			if largest, _ := f.g.Largest(f.now, 0, way.pump); (largest > 0) != passes {
				t.Errorf("%s of pump %d on its way: largest %s", given, way.pump, largest)
			}
		}
	}
}
