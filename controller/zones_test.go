package controller_test

import (
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/payload"
	"leat/controller/sim"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// ranFarm is the scenarios' farm, whose bench leat itself floods every two hours.
func ranFarm(t *testing.T, also ...func(*controller.Settings)) *stage {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(scenarioFolder, "farm.toml"))
	if err != nil {
		t.Fatal(err)
	}
	file, err := config.Parse("farm.toml", text, config.Env{})
	if err != nil {
		t.Fatal(err)
	}
	file.Settings.Version = "farm"
	file.Settings.Tanks[0].Zones[0].Own = controller.Watering{ByDay: 12, Length: 9 * time.Minute}
	for _, change := range also {
		change(&file.Settings)
	}
	s := &stage{rig: unstarted(t, file, sim.Options{Seed: 5, StartPH: 6.1, StartECShare: 0.9}), t: t, taps: map[string]func([]byte) []byte{}}
	s.start(t, evening, s.listen)
	return s
}

const benchFull = 200.0 // L of the 260

// floodsBy runs for a time and returns when the bench was full, by the time of the day.
func (s *stage) floodsBy(d time.Duration) (at []string) {
	was := false
	for end := s.Now().Up + d; s.Now().Up < end; {
		s.pass(10 * time.Second)
		full := s.farm.Truth(north).Flooded > benchFull
		if full && !was {
			at = append(at, s.Now().Wall.Format("15"))
		}
		was = full
	}
	return at
}

func same(a, b []string) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

func TestABenchIsFloodedWhenLeatSchedulesIt(t *testing.T) {
	s := ranFarm(t)
	s.must(controller.RequestArm, "")
	var orders []time.Time
	seen := s.Seen
	s.Seen = func(now dosing.Instant, e *controller.Event, out *controller.Output) {
		seen(now, e, out)
		for range out.Orders {
			orders = append(orders, now.Wall)
		}
	}
	if got := s.floodsBy(9 * time.Hour); !same(got, []string{"20", "22", "00", "02"}) {
		t.Errorf("the bench was full at %v", got)
	}
	if len(orders) < 5 {
		t.Fatalf("only %d doses were given between the floods", len(orders))
	}
	for _, at := range orders {
		if at.Before(evening.Add(time.Hour)) {
			continue // the first flood of the evening is at 20:00
		}
		into := at.Sub(at.Truncate(2 * time.Hour)) // floods begin at even hours
		if into > 2*time.Hour-405*time.Second || into < 10*time.Minute {
			t.Errorf("a dose was ordered at %s, in a flood or before it could mix in", at.Format("15:04:05"))
		}
	}
}

// Whoever is gone, the plants are not: the node keeps its last schedule.
func TestFloodsGoOnWithoutTheDaemon(t *testing.T) {
	s := ranFarm(t)
	s.pass(20 * time.Minute)
	s.farm.Connected(false)
	full := 0
	up, wasFull := s.Now().Up, false
	for range 6 * 360 {
		up += 10 * time.Second
		s.farm.Advance(up, func(string, byte, bool, []byte) {})
		now := s.farm.Truth(north).Flooded > benchFull
		if now && !wasFull {
			full++
			if at := s.evening(up); at.Minute() > 15 || at.Hour()%2 != 0 {
				t.Errorf("flooded at %s", at.Format("15:04"))
			}
		}
		wasFull = now
	}
	if full != 3 {
		t.Errorf("%d floods in six hours without the daemon, want 3", full)
	}
}

func (s *stage) evening(up time.Duration) time.Time { return evening.Add(up) }

func TestUnfitWaterIsKeptFromTheBenchAndNotFromTheFilm(t *testing.T) {
	s := ranFarm(t, func(c *controller.Settings) { c.Tanks[0].Zones[1].Own = controller.Watering{Always: true} })
	s.pass(10 * time.Minute)
	s.must(controller.RequestCleaning, "") // nobody has yet confirmed the water
	if got := s.floodsBy(3 * time.Hour); len(got) != 0 {
		t.Errorf("unfit water went onto the bench at %v", got)
	}
	if flow := s.farm.Truth(north); flow.Flooded > 1 {
		t.Errorf("%.0f L on the bench", flow.Flooded)
	}
	if words := s.line("channels"); words[:7] != "running" {
		t.Errorf("the film: %s", words)
	}
	if words := s.line("bench"); words[:8] != "skipping" {
		t.Errorf("the bench: %s", words)
	}
}

// line is what the tank's line says of a zone first.
func (s *stage) line(zone string) string {
	for _, f := range s.view(north).Line {
		if f.Name == zone+" runs" {
			return f.Text
		}
	}
	return "        nothing is said of it"
}

func TestAZoneNodeThatLostItsPowerIsToldTheTimeAnew(t *testing.T) {
	s := ranFarm(t)
	s.pass(50 * time.Minute)
	s.farm.RestartZone(north, 0)
	if got := s.floodsBy(4 * time.Hour); !same(got, []string{"20", "22"}) {
		t.Errorf("the bench was full at %v", got)
	}
}

func TestAZoneNodeThatIsNotHeardIsAnAlarmAndHoldsNothing(t *testing.T) {
	s := ranFarm(t)
	s.must(controller.RequestArm, "")
	s.pass(20 * time.Minute)
	s.taps[s.file.Topics.ZoneReport(north, "bench")] = func([]byte) []byte { return nil }
	s.pass(5 * time.Minute)
	a, ok := s.alarm(north, safety.CauseZoneSchedule)
	if !ok || a.Priority != safety.PriorityTonight {
		t.Fatalf("alarm %v, %v", a, ok)
	}
	if _, held := s.hold(north, safety.CauseZoneSchedule); held {
		t.Error("a silent zone node withholds doses")
	}
}

// A stage of the crop brings its own flood plan.
func TestAStageChangesHowOftenABenchIsFlooded(t *testing.T) {
	s := ranFarm(t, func(c *controller.Settings) {
		c.Tanks[0].Schedule.Stages = []controller.Stage{
			{Name: "rooting", From: evening.Add(-time.Hour)},
			{Name: "growth", From: evening.Add(5 * time.Hour), Zones: []controller.Watering{{ByDay: 24, Length: 5 * time.Minute}, {}}}}
	})
	if got := s.floodsBy(8*time.Hour + 30*time.Minute); !same(got, []string{"20", "22", "00", "01", "02"}) {
		t.Errorf("the bench was full at %v", got)
	}
}

func TestAZonesScheduleIsReadAsItIsWritten(t *testing.T) {
	s := controller.ZoneSchedule{ID: ledger.OrderID{Epoch: 7, Number: 3}, Starts: []time.Duration{0, 6 * time.Hour, 23*time.Hour + 59*time.Minute},
		Length: 9 * time.Minute, DayTime: 12*time.Hour + time.Second, Boot: "a1b2", Tick: 123456 * time.Millisecond}
	body := payload.AppendZoneSchedule(nil, &s)
	if want := `{"schedule":"7-000003","starts_s":[0,21600,86340],"run_s":540,"day_s":43201,"boot":"a1b2","tick_ms":123456}`; string(body) != want {
		t.Errorf("wrote %s", body)
	}
	back, err := payload.ParseZoneSchedule(body)
	if err != nil || !reflect.DeepEqual(back, s) {
		t.Errorf("read %+v, %v", back, err)
	}
	for name, bad := range map[string]string{
		"nothing ever":        `{"schedule":"7-000003","starts_s":[],"run_s":60,"day_s":0}`,
		"no length":           `{"schedule":"7-000003","starts_s":[60],"run_s":0,"day_s":0}`,
		"always, but not":     `{"schedule":"7-000003","always":false,"day_s":0}`,
		"falling":             `{"schedule":"7-000003","starts_s":[60,60],"run_s":5,"day_s":0}`,
		"beyond the day":      `{"schedule":"7-000003","starts_s":[86400],"run_s":5,"day_s":0}`,
		"a boot, no tick":     `{"schedule":"7-000003","always":true,"day_s":0,"boot":"a"}`,
		"no id":               `{"always":true,"day_s":0}`,
		"a string for a time": `{"schedule":"7-000003","starts_s":["6:00"],"run_s":5,"day_s":0}`,
	} {
		if back, err := payload.ParseZoneSchedule([]byte(bad)); err == nil {
			t.Errorf("%s: read %+v", name, back)
		}
	}
}
