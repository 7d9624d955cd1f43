package controller_test

import (
	"testing"
	"time"

	"leat/controller"
	"leat/controller/config"
	"leat/deploy"
	"leat/dosing"
	"leat/safety/ledger"
)

func TestAfterThreeDaysOfRecordCapsFollowRecentUseButNeverLockAPumpOut(t *testing.T) {
	file, err := config.Parse("sample", deploy.Sample, config.Env{})
	if err != nil {
		t.Fatal(err)
	}
	caps := func(covers time.Duration, acid dosing.Volume) (acidHour, baseHour dosing.Volume) {
		now := dosing.Instant{Wall: evening}
		core, err := controller.New(&file.Settings, ledger.State{Covers: covers, Recent: map[string]dosing.Volume{"acid-north": acid}}, now)
		if err != nil {
			t.Fatal(err)
		}
		core.Begin(now, false)
		for range int(61 * time.Minute / time.Second) {
			now = now.Add(time.Second)
			core.Step(now, &controller.Event{Kind: controller.EventTick})
		}
		view := core.View(now)
		return view.Pumps[0].HourlyCap, view.Pumps[1].HourlyCap
	}
	absolute, baseAbsolute := file.Settings.Safety.Caps[0].PerHour, file.Settings.Safety.Caps[1].PerHour
	if acid, base := caps(24*time.Hour, 72*dosing.Millilitre); acid != absolute || base != baseAbsolute {
		t.Errorf("after one day of record the hourly caps are %s and %s, not the absolute %s and %s", acid, base, absolute, baseAbsolute)
	}
	// A litre in 72 h is 14 mL an hour; four times that is 56 mL.
	acid, base := caps(100*time.Hour, dosing.Litre)
	if acid < 54*dosing.Millilitre || acid > 57*dosing.Millilitre {
		t.Errorf("after 100 h of record with a litre of acid in 72 h the hourly cap is %s; want four times the mean, about 55 mL", acid)
	}
	if base < file.Settings.Safety.Pumps[1].MinDose || base >= baseAbsolute {
		t.Errorf("the base that was never needed may give %s an hour; want less than %s and more than nothing", base, baseAbsolute)
	}
}
