package payload

import (
	"math"
	"strconv"

	"leat/controller"
)

// AppendReport writes a node's word on an order; for nodes.
func AppendReport(dst []byte, r controller.Report) []byte {
	e := object(dst)
	e.order("order", r.Order)
	e.text("phase", r.Phase.String())
	e.whole("run_ms", r.Run.Milliseconds())
	e.volume("volume_ml", r.Volume)
	e.text("cause", r.Cause)
	return e.end()
}

// ParseReport reads a node's word on an order. One that says done or stopped must
// state run time and volume: an absent volume read as zero would take millilitres
// out of the ledger that are in the tank. Pump is left for the caller, who knows
// the topic.
func ParseReport(body []byte) (controller.Report, error) {
	fields, err := fieldsOf(body, reportKeys...)
	if err != nil {
		return controller.Report{}, err
	}
	return fields.report()
}

var reportKeys = []string{"order", "phase", "run_ms", "volume_ml", "cause"}

func (f *fields) report() (controller.Report, error) {
	var r controller.Report
	r.Order = f.order("order")
	phase, known := controller.ParsePhase(f.name("phase"))
	if f.err == nil && !known {
		f.fail("phase", "accepted, running, done, stopped or refused")
	}
	r.Phase = phase
	ended := phase == controller.PhaseDone || phase == controller.PhaseStopped
	if ended || f.has("run_ms") {
		r.Run = f.milliseconds("run_ms", longestRun)
	}
	if ended || f.has("volume_ml") {
		r.Volume = f.volume("volume_ml", true)
	}
	r.Cause = f.optional("cause", longestNote)
	if f.err != nil {
		return controller.Report{}, f.err
	}
	return r, nil
}

// HeartbeatWriter writes what one node says of itself; for nodes. Most heartbeats
// differ from the last in their tick alone. The zero value is ready; it is used by one
// goroutine.
type HeartbeatWriter struct {
	last                controller.Heartbeat
	before, after, body []byte // of the tick; the whole
}

// Write returns a heartbeat, which holds until it is called again. What h.Last points
// to must not have changed since it was last written.
func (w *HeartbeatWriter) Write(h controller.Heartbeat) []byte {
	if w.body == nil || h.Boot != w.last.Boot || h.Idle != w.last.Idle || h.Epoch != w.last.Epoch || h.Last != w.last.Last {
		w.keep(h)
	}
	w.body = strconv.AppendInt(append(w.body[:0], w.before...), h.Tick.Milliseconds(), 10)
	w.body = append(w.body, w.after...)
	return w.body
}

// keep writes what stands before and after the tick.
func (w *HeartbeatWriter) keep(h controller.Heartbeat) {
	w.last = h
	e := object(w.before[:0])
	e.text("boot", h.Boot)
	e.key("tick_ms")
	w.before, e.dst = e.dst, w.after[:0]
	e.yes("idle", h.Idle)
	if h.Epoch > 0 {
		e.count("epoch", uint64(h.Epoch))
	}
	if h.Last != nil {
		e.key("last")
		last := object(e.dst)
		last.order("order", h.Last.Order)
		last.text("phase", h.Last.Phase.String())
		last.whole("run_ms", h.Last.Run.Milliseconds())
		last.volume("volume_ml", h.Last.Volume)
		last.some("cause", h.Last.Cause)
		e.dst = last.end()
	}
	w.after = e.end()
}

// ParseHeartbeat reads what a node says of itself. Node is left for the caller,
// who knows the topic.
func ParseHeartbeat(body []byte) (controller.Heartbeat, error) {
	h, _, err := parseHeartbeat(body)
	return h, err
}

// parseHeartbeat returns also where the tick stands.
func parseHeartbeat(body []byte) (h controller.Heartbeat, tick []byte, err error) {
	fields, err := fieldsOf(body, "boot", "tick_ms", "idle", "last", "epoch")
	if err != nil {
		return controller.Heartbeat{}, nil, err
	}
	h = controller.Heartbeat{Boot: fields.name("boot"), Tick: fields.milliseconds("tick_ms", longestTick), Idle: fields.yes("idle")}
	if fields.err == nil && fields.has("last") {
		inner, _ := fieldsIn(fields.get("last"), reportKeys...)
		if inner.err == nil {
			last, err := inner.report()
			h.Last, inner.err = &last, err
		}
		fields.err = inner.err
	}
	if fields.err == nil && fields.has("epoch") {
		h.Epoch = uint32(fields.count("epoch", math.MaxUint32))
	}
	if fields.err != nil {
		return controller.Heartbeat{}, nil, fields.err
	}
	return h, fields.get("tick_ms").raw, nil
}
