package controller_test

import (
	"math"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety/ledger"
)

// A configuration that is read again while a dose runs changes the next one.
func TestADoseEndsUnderTheConfigurationThatItBeganWith(t *testing.T) {
	s := dosingStage(t)
	cited := map[ledger.OrderID]string{}
	var last ledger.OrderID
	seen := s.Seen
	s.Seen = func(now dosing.Instant, event *controller.Event, out *controller.Output) {
		seen(now, event, out)
		for _, draft := range out.Append {
			if intent, is := draft.(ledger.Intent); is {
				last = intent.Order()
				cited[last] = intent.Basis().Configuration
			}
		}
	}
	o := s.nextOrder()
	running, at := last, s.Now().Up
	s.reconfigure(func(c *controller.Settings) {
		c.Version = "half the strength, twice the flow"
		for i := range c.Safety.Pumps {
			c.Safety.Pumps[i].ECPerML /= 2
			c.Safety.Pumps[i].AcidPerML /= 2
			c.Safety.Pumps[i].PerSecond *= 2
		}
	})
	settled := func() *noted {
		for i := range s.notices {
			if n := &s.notices[i]; n.Kind == controller.NoticeDose && n.Order == running && n.Outcome != ledger.OutcomeOpen && n.at.Up >= at {
				return n
			}
		}
		return nil
	}
	if !s.until(5*time.Minute, func() bool { return settled() != nil }) {
		t.Fatal("the dose that ran did not end")
	}
	if n := settled(); n.Outcome != ledger.OutcomeConfirmed || math.Abs(n.Volume.Millilitres()-o.ml) > 0.02*o.ml {
		t.Errorf("%.3g mL were ordered; it ended %s with %s", o.ml, n.Outcome, n.Volume)
	}
	if !s.until(time.Hour, func() bool { return last != running }) {
		t.Fatalf("nothing is dosed under the new one: %s", s.holds(north))
	}
	if was, is := cited[running], cited[last]; was == is || is != "half the strength, twice the flow" {
		t.Errorf("the dose that ran cites %q, the next %q", was, is)
	}
}
