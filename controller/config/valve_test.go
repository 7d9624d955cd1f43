package config

import (
	"strings"
	"testing"

	"leat/dosing"
)

func TestAValveThatLeatOpensIsSizedByTheRoomInItsTank(t *testing.T) {
	f := parsed(t, good(t, "valve.toml"))
	s := &f.Settings.Safety
	valve := len(s.Pumps) - 1
	if p := &s.Pumps[valve]; p.Role != dosing.RoleWater || p.PerSecond.Litres() < 0.233 || p.AcidPerML != 0 || p.ECPerML != 0 {
		t.Errorf("the valve is %+v", p)
	}
	if b := s.Tanks[0].TopUpBand; b.Low != 3040 || b.High != 3120 || b.Overflow != 3480 {
		t.Errorf("it fills between %+v", b)
	}
	// A run of a minute, and two pulses with what the gauge does not tell, fit into 360 L.
	v := f.station(f.watchdogs).Valve(valve, 0)
	if v.Hang < 13.9 || v.Hang > 14.1 || v.Room != 360 || v.Hang+v.Blind > v.Room {
		t.Errorf("sized as %+v", v)
	}
	// The worst use is 1.2 % an hour of 3150 L; half as much again must be carried for days.
	if v.Worst < 37.7 || v.Worst > 37.9 || v.PerHour < 1.5*v.Worst {
		t.Errorf("it carries %.1f of %.1f L/h", v.PerHour, v.Worst)
	}
}

func TestAValveIsRefusedWithWhatWouldPass(t *testing.T) {
	for _, c := range []struct{ old, new, key, wants string }{
		{`rate = "14 L/min"`, "rate = \"60 L/min\"\non_time_limit = \"480s\"", "rate", "run over"},
		{`overflow = "3480 L"`, `overflow = "3150 L"`, "rate", "run over"},
		{`overflow = "3480 L"`, `overflow = "3100 L"`, "top_up.overflow", "is not above high"},
		{`overflow = "3480 L"`, ``, "top_up.overflow", "is missing"},
		{`low = "3040 L"`, ``, "top_up.low", "is missing"},
		{`high = "3120 L"`, `high = "3395 L"`, "top_up.high", "too close to max_volume"},
		{`high = "3120 L"`, `high = "3045 L"`, "top_up.high", "not above low"},
		{`low = "3040 L"`, `low = "1705 L"`, "top_up.low", "doses would end before top-up begins"},
		{`rate = "14 L/min"`, "rate = \"14 L/min\"\nhourly_cap = \"50 L\"", "pump[fill]", "cannot keep up"},
		{`rate = "14 L/min"`, "rate = \"14 L/min\"\nstrength = \"2 meq/mL\"", "strength", "is not of source water"},
		{`role = "water"`, `role = "watre"`, "role", "write acid, base, stock or water"},
	} {
		f := faultOf(t, changed(t, good(t, "valve.toml"), c.old, c.new), c.key)
		if f == nil || !strings.Contains(f.Error(), c.wants) || f.Hint == "" {
			t.Errorf("%s → %s: %v, want %q of %s, with what to do", c.old, c.new, f, c.wants, c.key)
		}
	}
}

func TestLevelsWithoutAValveAndAValveOfTwoTanksAreRefused(t *testing.T) {
	text := good(t, "valve.toml")
	alone := text[:strings.Index(text, "[[pump]]\nname = \"fill\"")] + text[strings.Index(text, "[[tank]]"):]
	if f := faultOf(t, alone, "top_up"); f == nil || !strings.Contains(f.Error(), "no pump of role water") {
		t.Errorf("levels without a valve: %v", f)
	}
	second := text[strings.Index(text, "[[tank]]"):]
	second = strings.Replace(second, `name = "big"`, `name = "small"`, 1)
	two := changed(t, text, `tanks = ["big"]`, `tanks = ["big", "small"]`) + second
	if f := faultOf(t, two, "tanks"); f == nil || !strings.Contains(f.Error(), "a valve fills one") {
		t.Errorf("a valve of two tanks: %v", f)
	}
}

// What a refusal names must pass when it is typed in.
func TestTheThrottleThatARefusalNamesPasses(t *testing.T) {
	fast := changed(t, good(t, "valve.toml"), `rate = "14 L/min"`, "rate = \"58 L/min\"\ndose_cap = \"31 L\"\nhourly_cap = \"230 L\"\ndaily_cap = \"1440 L\"\nmin_dose = \"0.5 L\"")
	f := faultOf(t, changed(t, fast, `overflow = "3480 L"`, `overflow = "3250 L"`), "rate")
	if f == nil {
		t.Fatal("58 L a minute into 130 L of room passed")
	}
	from := strings.Index(f.Hint, "throttle the valve to \"")
	if from < 0 {
		t.Fatalf("it names no throttle: %s", f.Hint)
	}
	rate := f.Hint[from+len("throttle the valve to \""):]
	rate = rate[:strings.IndexByte(rate, '"')]
	parsed(t, changed(t, changed(t, fast, `overflow = "3480 L"`, `overflow = "3250 L"`), `rate = "58 L/min"`, `rate = "`+rate+`"`))
}
