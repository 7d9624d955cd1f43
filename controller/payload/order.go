package payload

import (
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety/ledger"
)

// Limits of what a node takes or tells.
const (
	longestRun  = 24 * time.Hour
	longestTick = 100 * 365 * 24 * time.Hour
	longestName = 64  // bytes of a name or a boot id
	longestNote = 500 // bytes of a sentence
)

// OrderMessage is an order as it stands on the topic, read by the node. The daemon
// sends controller.Orders only; this type gives no power to make one.
type OrderMessage struct {
	ID         ledger.OrderID
	Outlet     string // the valve to open; "" = the station has none
	Volume     dosing.Volume
	Run        time.Duration
	Boot       string        // of the node for which it holds
	BeforeTick time.Duration // the node's own clock, before which it must start
	Expires    time.Time     // for nodes that declare a clock
}

// AppendOrder writes an order for the outlet's tank. Times are rounded down: a
// node that starts a little too early is refused nothing, one that starts too late
// doses on old readings.
func AppendOrder(dst []byte, o controller.Order, outlet string) []byte {
	return OrderMessage{ID: o.ID(), Outlet: outlet, Volume: o.Volume(), Run: o.Run(), Boot: o.Boot(),
		BeforeTick: o.BeforeTick(), Expires: o.Expires()}.Append(dst)
}

// Append writes the order; the daemon writes those of the gate alone, by AppendOrder.
func (m OrderMessage) Append(dst []byte) []byte {
	e := object(dst)
	e.order("order", m.ID)
	e.text("outlet", m.Outlet)
	e.volume("volume_ml", m.Volume)
	e.whole("run_ms", m.Run.Milliseconds())
	e.text("boot", m.Boot)
	e.whole("before_tick_ms", m.BeforeTick.Milliseconds())
	e.moment("expires", m.Expires)
	return e.end()
}

// ParseOrder reads an order at the node. Volume and run time must be above zero:
// an order without an end is none.
func ParseOrder(body []byte) (OrderMessage, error) {
	var m OrderMessage
	fields, err := fieldsOf(body, "order", "outlet", "volume_ml", "run_ms", "boot", "before_tick_ms", "expires")
	if err != nil {
		return m, err
	}
	m.ID = fields.order("order")
	m.Outlet = fields.optionalName("outlet")
	m.Volume = fields.volume("volume_ml", false)
	m.Run = fields.milliseconds("run_ms", longestRun)
	m.Boot = fields.name("boot")
	m.BeforeTick = fields.milliseconds("before_tick_ms", longestTick)
	if fields.has("expires") {
		m.Expires = fields.moment("expires")
	}
	if fields.err == nil && (m.Volume <= 0 || m.Run <= 0) {
		fields.err = refuse("send volume and run time above zero", "order %s has no end", m.ID)
	}
	if fields.err != nil {
		return OrderMessage{}, fields.err
	}
	return m, nil
}
