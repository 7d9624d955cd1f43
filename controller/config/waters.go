package config

import (
	"fmt"
	"time"

	"leat/controller"
	"leat/dosing"
)

// A zone whose water is exchanged within seconds is a pipe, one that needs days is another
// tank. Of the water at least a fifth must be quick, or pump and probe see too little of it.
const (
	fastestExchange = 10 * time.Second
	slowestExchange = 48 * time.Hour
	leastQuick      = 0.2
)

const exchangeHint = "10s to 48h: the water it holds divided by the flow through it; leave it out where it is not known"

// exchange is the exchange time of a zone.
func (b *vessels) exchange(path string, z *zoneTable, kind controller.ZoneKind) time.Duration {
	if z.Exchange.stated && kind == controller.ZoneFlood {
		b.fault(join(path, "exchange_time"), quoted(z.Exchange.text), "says nothing of a zone that fills and drains", "leave it out; it is for film and raft")
		return 0
	}
	out := z.Exchange.or(kind.UsualExchange())
	if z.Exchange.stated && !(out >= fastestExchange && out <= slowestExchange) {
		b.fault(join(path, "exchange_time"), quoted(z.Exchange.text), "is out of range", exchangeHint)
	}
	return out
}

// slowWater finds how much of the tank's water answers late: as stated, else by its zones.
func (b *vessels) slowWater(path string, t *tankTable, out *dosing.Tank, zones []controller.Zone) {
	out.Slow, out.Exchange = controller.SlowWater(out.Volume, 2*out.MixingTime(), zones)
	late, _ := controller.SlowWater(out.Volume, out.MixingTime(), zones)
	defer func() { out.Later = min(max(late-out.Slow, 0), 1-leastQuick) }()
	if t.QuickShare.stated {
		out.Slow = 1 - t.QuickShare.value
		if out.Exchange == 0 {
			out.Exchange = controller.ZoneRaft.UsualExchange()
		}
		if !(out.Slow >= 0) || out.Slow > 1-leastQuick {
			b.fault(join(path, "quick_share"), quoted(t.QuickShare.text), "is out of range", `20 % to 100 %: what of the volume answers within a mixing time; leave it out where the zones tell it`)
			out.Slow = 0
		}
	}
	if t.Exchange.stated {
		out.Exchange = t.Exchange.or(0)
		switch {
		case !(out.Exchange >= fastestExchange && out.Exchange <= slowestExchange):
			b.fault(join(path, "exchange_time"), quoted(t.Exchange.text), "is out of range", exchangeHint)
		case !(out.Slow > 0):
			b.fault(join(path, "exchange_time"), quoted(t.Exchange.text), "is of slow water, and the tank has none", "state quick_share, or the zones with what they hold, or leave it out")
		}
	}
	if !(out.Slow > 0) {
		out.Slow, out.Exchange = 0, 0
		return
	}
	if slow := out.Volume - out.Quick(); !t.QuickShare.stated && out.Slow > 1-leastQuick {
		b.fault(join(path, "volume"), quoted(t.Volume.text), fmt.Sprintf("is to hold %s L of slow water in its zones and leaves less than a fifth to pump and probes", figure(float64(slow))),
			"the volume is all water in circulation, that of film and rafts too; if the zones really hold that much, state how fast they exchange it (exchange_time), or quick_share")
		out.Slow, out.Exchange = 0, 0
		return
	}
	// The ponds stay full: a level that has fallen is missing of the quick water.
	if slow := out.Volume - out.Quick(); t.MinVolume.stated && !(out.MinVolume > slow+out.Quick()*leastQuick) {
		b.fault(join(path, "min_volume"), quoted(t.MinVolume.text), fmt.Sprintf("leaves too little to pump and probes: %s L of the volume are slow water and stay in their zones", figure(float64(slow))),
			fmt.Sprintf("state at least %s L", figure(float64(slow+out.Quick()*leastQuick)*1.01)))
	} else if !t.MinVolume.stated {
		out.MinVolume = max(out.MinVolume, slow+out.Quick()/2)
	}
}

// WatersReport is how the water of a tank with slow water answers.
type WatersReport struct {
	Quick    float64 `json:"quick_share"`
	Within   float64 `json:"answers_within_s"`
	Exchange float64 `json:"slow_exchange_s"`
	Fade     float64 `json:"fade_s"` // in which a dose's excess over the slow water falls to 37 %
	Stated   bool    `json:"stated"` // false: the zones tell it
}

func watersReport(t *dosing.Tank, stated bool) *WatersReport {
	if !(t.Slow > 0) {
		return nil
	}
	return &WatersReport{Quick: 1 - t.Slow, Within: t.MixingTime().Seconds(), Exchange: t.Exchange.Seconds(),
		Fade: (1 - t.Slow) * t.Exchange.Seconds(), Stated: stated}
}

// waters prints it.
func (p *printer) waters(w *WatersReport) {
	if w == nil {
		return
	}
	from := "by its zones"
	if w.Stated {
		from = "as stated"
	}
	p.line("  %s %% of the water answers within %v; the rest follows over %v (%s): a dose is sized by the quick part and leaks into the rest, to 37 %% in %v",
		figure(100*w.Quick), duration(w.Within), duration(w.Exchange), from, duration(w.Fade).Round(time.Second))
}
