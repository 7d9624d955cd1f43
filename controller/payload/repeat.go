package payload

import (
	"bytes"
	"time"

	"leat/controller"
)

// repeat remembers a document around one of its counters. Nodes and daemon say the
// same every two seconds with a higher counter; comparing bytes is fifty times
// cheaper than reading JSON, and where anything else differs the parser decides.
// Swapping one whole number for another changes neither whether a document is
// valid nor what else stands in it.
type repeat struct {
	before, after []byte
	known         bool
}

// longestCounter is how many digits a float64 holds exactly, whatever they are.
const longestCounter = 15

// counter is the counter of a document that is the remembered one but for it.
func (r *repeat) counter(body []byte) (n uint64, same bool) {
	if !r.known || !bytes.HasPrefix(body, r.before) || len(body) <= len(r.before)+len(r.after) || !bytes.HasSuffix(body, r.after) {
		return 0, false
	}
	return plainCounter(body[len(r.before) : len(body)-len(r.after)])
}

// keep remembers a document that was taken; counter is its part.
func (r *repeat) keep(body, counter []byte) {
	if _, plain := plainCounter(counter); !plain {
		r.known = false // 1e5 and 12.0 are whole numbers too, but not for us
		return
	}
	// The part was cut from the body, so what lies behind its start tells the place.
	from := cap(body) - cap(counter)
	r.before, r.after = append(r.before[:0], body[:from]...), append(r.after[:0], body[from+len(counter):]...)
	r.known = true
}

func plainCounter(text []byte) (n uint64, ok bool) {
	if len(text) == 0 || len(text) > longestCounter || text[0] == '0' && len(text) > 1 {
		return 0, false
	}
	for _, c := range text {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = 10*n + uint64(c-'0')
	}
	return n, true
}

// Heartbeats reads what one node says of itself, one heartbeat after another. It
// takes and refuses what ParseHeartbeat does. The zero value is ready; it is used
// by one goroutine.
type Heartbeats struct {
	repeat repeat
	last   controller.Heartbeat
}

// Parse reads a heartbeat. Node is left for the caller, who knows the topic. What
// Last points to is shared with later heartbeats that name the same order: read it
// only.
func (h *Heartbeats) Parse(body []byte) (controller.Heartbeat, error) {
	if tick, same := h.repeat.counter(body); same && tick <= uint64(longestTick.Milliseconds()) {
		h.last.Tick = time.Duration(tick) * time.Millisecond
		return h.last, nil
	}
	beat, tick, err := parseHeartbeat(body)
	if err != nil {
		return controller.Heartbeat{}, err
	}
	h.last = beat
	h.repeat.keep(body, tick)
	return beat, nil
}

// Leases reads the permissions to dose at a node, one after another. It takes and
// refuses what ParseLease does. The zero value is ready; it is used by one
// goroutine.
type Leases struct {
	repeat repeat
	epoch  uint32
}

// Parse reads the permission to dose at the node.
func (l *Leases) Parse(body []byte) (epoch uint32, beat uint64, err error) {
	if beat, same := l.repeat.counter(body); same {
		return l.epoch, beat, nil
	}
	epoch, beat, counter, err := parseLease(body)
	if err != nil {
		return 0, 0, err
	}
	l.epoch = epoch
	l.repeat.keep(body, counter)
	return epoch, beat, nil
}
