package prove

import (
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety/ledger"
)

// Times of the contract, and how much later than them a word may come.
const (
	leaseHolds = 10 * time.Second
	leaseEvery = 2 * time.Second
	wordWithin = 4 * time.Second // of an answer
	beatWithin = 8 * time.Second // of the next heartbeat, by a node that keeps a worse rhythm than it must
	slack      = 1500 * time.Millisecond
	stopWithin = 25 * time.Second // of a node that does not obey: as long as the longest run here
	aMinute    = time.Minute
)

// talk is the conversation with a node and a person.
type talk struct {
	w World
	s *Station

	err      error // of the world; everything ends with it
	leasing  bool
	leaseAt  time.Duration
	count    uint64
	number   uint32
	foreign  bool // somebody else gives leases
	beats    []heard
	words    []word
	answers  []string
	given    map[ledger.OrderID]dosing.Volume // as the node told
	sampling func(probe int, value float64)
}

type heard struct {
	at time.Duration
	controller.Heartbeat
}

type word struct {
	at time.Duration
	controller.Report
}

// order is one that was sent.
type order struct {
	id    ledger.OrderID
	pump  int
	run   time.Duration
	at    time.Duration
	since int // words before it
}

// until lets the conversation go on until something holds, at most so long.
func (t *talk) until(limit time.Duration, holds func() bool) bool {
	end := t.w.Now() + limit
	for t.err == nil && !holds() {
		now := t.w.Now()
		if now >= end {
			return false
		}
		next := end
		if t.leasing {
			if now >= t.leaseAt+leaseEvery {
				t.lease()
			}
			next = min(end, t.leaseAt+leaseEvery)
		}
		happening, err := t.w.Wait(next)
		if err != nil {
			t.err = err
			return false
		}
		t.take(happening)
	}
	return t.err == nil
}

func (t *talk) rest(d time.Duration) { t.until(d, func() bool { return false }) }

// lease gives the permission to dose once.
func (t *talk) lease() {
	t.count++
	t.leaseAt = t.w.Now()
	t.publish(t.s.Topics.Lease(), 0, false, payload.AppendLease(nil, t.s.Epoch, t.count))
}

func (t *talk) publish(topic string, qos byte, retained bool, body []byte) {
	if err := t.w.Publish(topic, qos, retained, body); err != nil && t.err == nil {
		t.err = err
	}
}

func (t *talk) take(h Happening) {
	now := t.w.Now()
	switch {
	case h.Typed:
		t.answers = append(t.answers, h.Line)
	case h.Topic == t.s.Topics.Node(t.s.Node):
		if beat, err := payload.ParseHeartbeat(h.Body); err == nil && !h.Retained {
			t.beats = append(t.beats, heard{now, beat})
		}
	case h.Topic == t.s.Topics.Lease():
		epoch, _, err := payload.ParseLease(h.Body)
		t.foreign = t.foreign || err == nil && !h.Retained && t.count == 0 && epoch > 0
	default:
		t.takeRest(h, now)
	}
}

func (t *talk) takeRest(h Happening, now time.Duration) {
	if _, ours := t.s.pumpOf(h.Topic); ours {
		report, err := payload.ParseReport(h.Body)
		if err != nil || h.Retained {
			return
		}
		t.words = append(t.words, word{now, report})
		if ended(report.Phase) {
			t.given[report.Order] = report.Volume
		}
		return
	}
	for i := range t.s.Probes {
		if p := &t.s.Probes[i]; p.Topic == h.Topic && t.sampling != nil && !h.Retained {
			if value, ok := p.Read(h.Body); ok {
				t.sampling(i, value)
			}
		}
	}
}

// last is the newest heartbeat; there is one from the start.
func (t *talk) last() heard { return t.beats[len(t.beats)-1] }

// nextBeat waits for a heartbeat after now.
func (t *talk) nextBeat() (heard, bool) {
	seen := len(t.beats)
	ok := t.until(beatWithin, func() bool { return len(t.beats) > seen })
	return t.last(), ok
}

// order makes and sends an order; change is what is wrong with it.
func (t *talk) order(pump int, run time.Duration, change func(*payload.OrderMessage)) order {
	message := t.message(pump, run)
	if change != nil {
		change(&message)
	}
	return t.send(message, pump, false, message.Append(nil))
}

// message is an order as it should be.
func (t *talk) message(pump int, run time.Duration) payload.OrderMessage {
	t.number++
	beat, p := t.last(), &t.s.Pumps[pump]
	return payload.OrderMessage{ID: ledger.OrderID{Epoch: t.s.Epoch, Number: t.number}, Outlet: p.Outlet,
		Volume: p.gives(run), Run: run, Boot: beat.Boot,
		BeforeTick: beat.Tick + t.w.Now() - beat.at + leaseHolds, Expires: farAhead}
}

// volume is what an order gives if it runs whole.
func (t *talk) volume(o order) dosing.Volume { return t.s.Pumps[o.pump].gives(o.run) }

// farAhead keeps nodes with a clock from refusing what is not about clocks.
var farAhead = time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)

func (t *talk) send(m payload.OrderMessage, pump int, retained bool, body []byte) order {
	o := order{id: m.ID, pump: pump, run: m.Run, at: t.w.Now(), since: len(t.words)}
	t.publish(t.s.Topics.Order(t.s.Pumps[pump].Name), 1, retained, body)
	return o
}

// said is the first word on an order, since it was sent, in one of these phases.
func (t *talk) said(o order, phases ...controller.Phase) (word, bool) {
	for _, w := range t.words[o.since:] {
		for _, phase := range phases {
			if w.Order == o.id && w.Phase == phase {
				return w, true
			}
		}
	}
	return word{}, false
}

func (t *talk) taken(o order) bool {
	_, ran := t.said(o, controller.PhaseAccepted, controller.PhaseRunning, controller.PhaseDone, controller.PhaseStopped)
	return ran
}

func (t *talk) over(o order) bool {
	_, over := t.said(o, controller.PhaseDone, controller.PhaseStopped, controller.PhaseRefused)
	return over
}

// begun waits until an order runs.
func (t *talk) begun(o order) bool {
	return t.until(wordWithin, func() bool { return t.taken(o) || t.over(o) }) && t.taken(o)
}

// stopAll ends whatever runs, and waits until the node is idle.
func (t *talk) stopAll() {
	t.publish(t.s.Topics.Stop(), 1, false, payload.AppendStop(nil, t.s.Epoch, ""))
	at := t.w.Now()
	t.until(stopWithin, func() bool { return t.last().at > at && t.last().Idle })
}

// answer asks and waits for what is typed.
func (t *talk) answer(q Question, text string) string {
	seen := len(t.answers)
	t.w.Ask(q, text)
	if !t.until(60*aMinute, func() bool { return len(t.answers) > seen }) {
		return ""
	}
	return t.answers[len(t.answers)-1]
}

func ended(p controller.Phase) bool {
	return p == controller.PhaseDone || p == controller.PhaseStopped
}
