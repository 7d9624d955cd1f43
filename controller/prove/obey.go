package prove

import (
	"bytes"
	"fmt"
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety/ledger"
)

// The checks of messages: nobody need do anything.

func tryHeartbeat(p *proof) outcome {
	first, last := p.beats[0], p.last()
	longest := time.Duration(0)
	for i := 1; i < len(p.beats); i++ {
		longest = max(longest, p.beats[i].at-p.beats[i-1].at)
		if p.beats[i].Boot != first.Boot {
			return failed("the boot changed while nobody touched the node: it restarts by itself")
		}
	}
	clock, tick := last.at-first.at, last.Tick-first.Tick
	off := max(clock-tick, tick-clock)
	switch {
	case longest > 3*time.Second:
		return failed("%s passed between two heartbeats", longest.Round(100*time.Millisecond))
	case off > clock/20+500*time.Millisecond:
		return failed("in %s the node's tick moved by %s", clock.Round(time.Millisecond), tick)
	}
	return held("%d heartbeats, at most %s apart", len(p.beats), longest.Round(100*time.Millisecond))
}

// refuses says whether an order was refused, with these words where the daemon acts on them.
func (p *proof) refuses(o order, words string) outcome {
	p.until(wordWithin, func() bool { return p.taken(o) || p.over(o) })
	if p.taken(o) {
		p.stopAll()
		return failed("the order %s ran", o.id)
	}
	refused, told := p.said(o, controller.PhaseRefused)
	beat, came := p.nextBeat()
	switch {
	case p.taken(o) || came && !beat.Idle:
		p.stopAll()
		return failed("the order %s ran", o.id)
	case !told:
		return failed("nothing ran, and nothing was said: a refusal must be reported, with its cause")
	case words != "" && refused.Cause != words:
		return failed("refused as %q; the daemon acts on the words %q alone", refused.Cause, words)
	}
	return held("refused: %s", refused.Cause)
}

func tryLease(p *proof) outcome {
	o := p.order(0, min(time.Second, p.short()), nil)
	saw := p.refuses(o, "")
	refused, _ := p.said(o, controller.PhaseRefused)
	p.wants = nonEmpty(refused.Cause, "no refusal")
	return saw
}

// permit begins to give leases.
func (p *proof) permit() {
	if !p.leasing {
		p.leasing = true
		p.lease()
		p.rest(slack / 3)
	}
}

func tryRun(p *proof) outcome {
	p.permit()
	o := p.order(0, p.short(), nil)
	p.first = o
	if !p.begun(o) {
		refused, _ := p.said(o, controller.PhaseRefused)
		return failed("a good order did not run: %s", nonEmpty(refused.Cause, "nothing was said"))
	}
	began := p.w.Now()
	p.until(o.run+2*slack, func() bool { return p.over(o) })
	done, is := p.said(o, controller.PhaseDone)
	if !is {
		p.stopAll()
		return failed("after %s it had not ended by itself; it was stopped", o.run+2*slack)
	}
	took := p.w.Now() - began
	wanted := p.volume(o)
	_, accepted := p.said(o, controller.PhaseAccepted)
	switch {
	case !accepted:
		return failed("it was done, but never reported as accepted")
	case took > o.run+slack || took < o.run-slack:
		return failed("ordered for %s, it took %s", o.run, took.Round(10*time.Millisecond))
	case apart(done.Run, o.run) > o.run/20+100*time.Millisecond:
		return failed("ordered for %s, it tells of %s", o.run, done.Run)
	case apart(done.Volume, wanted) > wanted/10+10*dosing.Microlitre:
		return failed("ordered %s, it tells of %s", wanted, done.Volume)
	}
	return held("%s ordered, %s and %s told", o.run, done.Run, done.Volume)
}

func tryRepeat(p *proof) outcome {
	m := p.message(0, p.first.run)
	p.number--
	m.ID = p.first.id
	before := len(p.words)
	again := p.send(m, 0, false, m.Append(nil))
	p.until(wordWithin, func() bool { return len(p.words) > before })
	beat, _ := p.nextBeat()
	if _, ran := p.said(again, controller.PhaseAccepted, controller.PhaseRunning); ran || !beat.Idle {
		p.stopAll()
		return failed("the order %s ran a second time", again.id)
	}
	if _, told := p.said(again, controller.PhaseDone, controller.PhaseStopped); !told {
		return failed("nothing ran, but its last report did not come again: a lost report would stay lost")
	}
	return held("nothing ran, and the last report came again")
}

func tryOlderOrder(p *proof) outcome {
	o := p.order(0, p.short(), func(m *payload.OrderMessage) {
		m.ID.Number = p.first.id.Number - 1
		p.number--
	})
	return p.refuses(o, controller.RefusedOldOrder)
}

func tryLate(p *proof) outcome {
	return p.refuses(p.order(0, p.short(), func(m *payload.OrderMessage) { m.BeforeTick -= leaseHolds + time.Second }), "")
}

func tryBoot(p *proof) outcome {
	return p.refuses(p.order(0, p.short(), func(m *payload.OrderMessage) { m.Boot = "another0" }), "")
}

func tryIncomplete(p *proof) outcome {
	m := p.message(0, p.short())
	body := m.Append(nil)
	length := fmt.Appendf(nil, `"run_ms":%d,`, m.Run.Milliseconds())
	o := p.send(m, 0, false, bytes.Replace(body, length, nil, 1))
	beat, _ := p.nextBeat()
	if p.taken(o) || !beat.Idle {
		p.stopAll()
		return failed("an order without run_ms ran")
	}
	return held("an order without run_ms did not run")
}

func tryBusy(p *proof) outcome {
	running := p.order(0, p.long(), nil)
	if !p.begun(running) {
		return notShown("the first order did not run")
	}
	second := p.order(0, min(time.Second, p.short()), nil)
	p.until(min(wordWithin, p.long()/2), func() bool { return p.taken(second) || p.over(second) })
	_, refused := p.said(second, controller.PhaseRefused)
	ran := p.taken(second)
	p.stopAll()
	switch {
	case ran:
		return failed("a second order ran during the first")
	case !refused:
		return failed("a second order was neither run nor refused")
	}
	return held("the second order was refused")
}

// each tries a limit of every pump.
func (p *proof) each(try func(pump int) outcome) outcome {
	all := held("")
	for i := range p.s.Pumps {
		saw := try(i)
		if saw.verdict != Held {
			return outcome{saw.verdict, p.s.Pumps[i].Name + ": " + saw.words}
		}
		all.words = nonEmpty(all.words, saw.words)
	}
	return all
}

func tryOwnLimit(p *proof) outcome {
	return p.each(func(pump int) outcome {
		return p.refuses(p.order(pump, max(10*p.s.Pumps[pump].Longest, aMinute*10), func(m *payload.OrderMessage) {
			m.Volume = max(p.s.Pumps[pump].PerSecond, 1) // little, so that only the run is too long
		}), controller.RefusedTooLong)
	})
}

func tryHourlyLimit(p *proof) outcome {
	return p.each(func(pump int) outcome {
		return p.refuses(p.order(pump, min(time.Second, p.s.Pumps[pump].Longest), func(m *payload.OrderMessage) {
			m.Volume = min(p.s.Pumps[pump].PerSecond*86400, 1000*dosing.Litre) // a day of it
		}), "")
	})
}

func tryOutlet(p *proof) outcome {
	return p.refuses2(p.order(0, p.short(), func(m *payload.OrderMessage) { m.Outlet = "no such outlet" }), 2*wordWithin)
}

// refuses2 is refuses for what may take its time, such as a valve that does not open.
func (p *proof) refuses2(o order, within time.Duration) outcome {
	p.until(within, func() bool { return p.taken(o) || p.over(o) })
	return p.refuses(o, "")
}

func tryOlderEpoch(p *proof) outcome {
	if p.s.Epoch < 2 {
		return notShown("epoch 1 has none before it")
	}
	o := p.order(0, p.short(), func(m *payload.OrderMessage) { m.ID = ledger.OrderID{Epoch: p.s.Epoch - 1, Number: 900_000} })
	return p.refuses(o, controller.RefusedOldEpoch)
}

func tryStop(p *proof) outcome {
	return p.stoppedBy(payload.AppendStop(nil, p.s.Epoch, p.s.Pumps[0].Name))
}

func tryUnreadableStop(p *proof) outcome { return p.stoppedBy([]byte("stop!")) }

func (p *proof) stoppedBy(body []byte) outcome {
	o := p.order(0, p.long(), nil)
	if !p.begun(o) {
		return notShown("the order to be stopped did not run")
	}
	at := p.w.Now()
	p.publish(p.s.Topics.Stop(), 1, false, body)
	p.until(min(slack, p.long()/2), func() bool { return p.over(o) })
	if _, stopped := p.said(o, controller.PhaseStopped); !stopped {
		p.stopAll()
		// What stops by neither kind of stop is ended by the lease or by its own clock.
		p.until(o.run+slack, func() bool { return p.over(o) })
		return failed("the run went on")
	}
	return held("stopped after %s", (p.w.Now() - at).Round(10*time.Millisecond))
}

// lapse lets the lease run out in the middle of a run.
func tryLapse(p *proof) outcome {
	left := min(8*time.Second, p.long()/2)
	p.lease()
	p.leasing = false
	ends := p.leaseAt + leaseHolds
	p.until(ends-left-p.w.Now(), func() bool { return false })
	o := p.order(0, p.long(), nil)
	defer p.keepOne()
	if !p.begun(o) {
		return notShown("the order in which the lease was to lapse did not run")
	}
	p.until(ends+slack-p.w.Now(), func() bool { return p.over(o) })
	stopped, is := p.said(o, controller.PhaseStopped)
	switch {
	case !is:
		p.stopAll()
		return failed("the run went on without a lease")
	case stopped.at < ends-2*slack:
		return notShown("it stopped %s before the lease could lapse", (ends - stopped.at).Round(100*time.Millisecond))
	}
	return held("stopped %s after the last lease", (stopped.at - ends + leaseHolds).Round(100*time.Millisecond))
}

// keepOne has the broker keep an order while there is no lease, so that nobody takes it,
// and then gives leases again.
func (p *proof) keepOne() {
	p.until(p.leaseAt+leaseHolds+slack-p.w.Now(), func() bool { return false })
	m := p.message(0, p.short())
	m.BeforeTick += 30 * aMinute
	p.kept = p.send(m, 0, true, m.Append(nil))
	p.until(wordWithin, func() bool { return p.taken(p.kept) || p.over(p.kept) })
	if p.taken(p.kept) {
		p.stopAll()
	}
	p.permit()
}

func tryRetained(p *proof) outcome {
	if p.taken(p.kept) {
		return notShown("the node took the order before the broker could keep it")
	}
	clear := func() { p.publish(p.s.Topics.Order(p.s.Pumps[0].Name), 1, true, nil) }
	defer clear()
	p.kept.since = len(p.words)
	if whyNot := p.w.Displace(); whyNot != "" {
		return notShown("%s", whyNot)
	}
	if !p.until(aMinute, p.w.Displaced) {
		return notShown("no client of the broker took this id back: give the node's own with -client, and where the broker wants one, its user with -client-user")
	}
	beat, came := p.nextBeat()
	p.rest(slack)
	refused, _ := p.said(p.kept, controller.PhaseRefused)
	switch {
	case p.taken(p.kept) || came && !beat.Idle:
		p.stopAll()
		return failed("an order that the broker had kept ran")
	case !came:
		return notShown("the node was not heard again after it was thrown out")
	case refused.Cause == p.wants:
		return notShown("the node came back after its lease had lapsed, and refused the order for that")
	}
	return held("the node came back, was given the order that the broker had kept, and did not run it: %s", nonEmpty(refused.Cause, "it said nothing of it"))
}

// epochAhead gives a lease and an order of an epoch that no restart explains.
func tryEpochAhead(p *proof) outcome {
	const ahead = 4_000_000_000
	p.publish(p.s.Topics.Lease(), 0, false, payload.AppendLease(nil, ahead, 1))
	o := p.order(0, p.short(), func(m *payload.OrderMessage) { m.ID = ledger.OrderID{Epoch: ahead, Number: 1} })
	saw := p.refuses(o, controller.RefusedEpochAhead)
	if saw.verdict != Held {
		return saw
	}
	if beat, came := p.nextBeat(); came && beat.Epoch > p.s.Epoch {
		return failed("a lease of epoch %d was taken", uint32(ahead))
	}
	good := p.order(0, min(time.Second, p.short()), nil)
	if !p.begun(good) {
		return failed("after a lease of epoch %d a good order no longer runs", uint32(ahead))
	}
	p.until(good.run+slack, func() bool { return p.over(good) })
	return held("the lease did nothing, the order was refused, and good orders still run")
}

func apart[T ~int64](a, b T) T { return max(a-b, b-a) }

func nonEmpty(text, otherwise string) string {
	if text != "" {
		return text
	}
	return otherwise
}
