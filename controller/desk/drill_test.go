package desk

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"leat/controller"
)

// month is a farm in a drill: what its daemon shows after each look, one map for each.
type month struct {
	shows []map[string]float64
	now   time.Time
	notes []string
}

func (m *month) drill() *Drill {
	return &Drill{
		Series: func() map[string]float64 {
			s := m.shows[0]
			if len(m.shows) > 1 {
				m.shows = m.shows[1:]
			}
			return s
		},
		Wait: func() { m.now = m.now.Add(2 * time.Second) },
		Now:  func() time.Time { return m.now },
		Note: func(form url.Values) (controller.Answer, error) {
			m.notes = append(m.notes, form.Get("do")+" "+form.Get("note"))
			return controller.Answer{Accepted: true}, nil
		}}
}

var (
	wellSeries    = map[string]float64{`leat_epoch{station="row"}`: 7}
	ringsSeries   = map[string]float64{`leat_alarm_priority{cause="leak",tank="a"}`: 1, `leat_alarm_state{cause="leak",tank="a"}`: 1}
	knownSeries   = map[string]float64{`leat_alarm_priority{cause="leak",tank="a"}`: 1, `leat_alarm_state{cause="leak",tank="a"}`: 4}
	anotherSeries = map[string]float64{`leat_alarm_priority{cause="level-high",tank="a"}`: 1}
)

func TestDrillLeadsThroughWhatMustRingAndNotesIt(t *testing.T) {
	m := &month{shows: []map[string]float64{wellSeries, anotherSeries, ringsSeries, ringsSeries, knownSeries, knownSeries, wellSeries, wellSeries, nil, nil, wellSeries}}
	var out strings.Builder
	if err := m.drill().Guide(strings.NewReader("yes\nYes\ny\nyes\n"), &out); err != nil {
		t.Fatalf("%v\n%s", err, out.String())
	}
	want := "mark drill: leak yes, acknowledged yes, cleared yes, daemon yes, started yes, dead-man yes, backup yes"
	if len(m.notes) != 1 || m.notes[0] != want {
		t.Errorf("noted %q, want %q", m.notes, want)
	}
	if !strings.Contains(out.String(), "After 4s the daemon sees the leak.") {
		t.Errorf("it does not say after how long:\n%s", out.String())
	}
}

func TestDrillNamesWhatDidNotRing(t *testing.T) {
	m := &month{shows: []map[string]float64{ringsSeries, knownSeries, wellSeries, nil, wellSeries}}
	var out strings.Builder
	err := m.drill().Guide(strings.NewReader("no\nyes\n\nyes\n"), &out)
	if err == nil || err.Error() != "mend before the evening: leak, dead-man" || !strings.Contains(m.notes[0], "leak no") {
		t.Errorf("%v, noted %q", err, m.notes)
	}
	// A sensor that nobody sees: not seen within ten minutes.
	m = &month{shows: []map[string]float64{wellSeries}}
	err = m.drill().Guide(strings.NewReader("yes\nyes\nyes\nyes\n"), &out)
	if err == nil || !strings.Contains(err.Error(), "leak") || !strings.Contains(err.Error(), "daemon") {
		t.Errorf("%v", err)
	}
	m = &month{shows: []map[string]float64{ringsSeries, knownSeries}}
	if err := m.drill().Guide(strings.NewReader("x\n"), &out); err == nil || len(m.notes) != 0 {
		t.Errorf("left: %v, noted %q", err, m.notes)
	}
}
