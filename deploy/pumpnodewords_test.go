package deploy_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/app/apptest"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety/ledger"
)

// Whatever stands in an order, the node neither reads past its end nor runs what the daemon's
// own reader would not: it is built with the compiler's checks of memory and arithmetic, and
// the bodies are good ones with a few bytes changed.
func TestThePumpNodeRunsNothingThatTheDaemonWouldNotRead(t *testing.T) {
	program := apptest.BuildPumpNode(t, t.TempDir(), "shell_lines.c", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
	node := apptest.StartPumpNode(t, program, "north", "acid=10000,1000000")
	node.Tell("start boot0001 0")
	r := rand.New(rand.NewPCG(1, 2))
	now, ran := 100, 0
	sent := map[ledger.OrderID][]byte{} // as the daemon reads what was sent
	for n, tries := uint32(1), 0; tries < 500; n, tries = n+1, tries+1 {
		good := payload.OrderMessage{ID: ledger.OrderID{Epoch: 7, Number: n}, Outlet: "north", Volume: dosing.Volume(1 + r.IntN(900)), Run: 10 * time.Millisecond,
			Boot: "boot0001", BeforeTick: time.Duration(now)*time.Millisecond + time.Minute, Expires: time.Unix(2e9, 0)}.Append(nil)
		body := spoilt(r, good)
		if order, err := payload.ParseOrder(body); err == nil {
			sent[order.ID] = body
		}
		node.Tell("lease %d 0 %x", now, payload.AppendLease(nil, 7, uint64(n)))
		said, _ := node.Tell("order %d 0 0 %x", now+10, body)
		more, _ := node.Tell("until %d", now+40)
		end, _ := node.Tell("until %d", now+900)
		now += 1000
		for _, s := range append(append(said, more...), end...) {
			if s.What != "report" {
				continue
			}
			report, err := payload.ParseReport(s.Body)
			if err != nil {
				t.Fatalf("the daemon cannot read %s: %v", s.Body, err)
			}
			if report.Phase != controller.PhaseDone {
				continue
			}
			ran++
			n = max(n, report.Order.Number)
			order, err := payload.ParseOrder(sent[report.Order])
			if err != nil || order.Run > report.Run || order.Volume > report.Volume {
				t.Errorf("the node ran %s, of which the daemon read %+v, %v; the newest order was %s", s.Body, order, err, body)
			}
		}
	}
	if ran < 60 || ran > 440 {
		t.Errorf("%d of 500 ran: the bodies try nothing", ran)
	}
}

// spoilt is a body with some bytes changed, left out, doubled or cut off.
func spoilt(r *rand.Rand, good []byte) []byte {
	// A node without a clock takes no notice of when an order expires.
	text, expires, _ := strings.Cut(string(good), `"expires"`)
	body := text
	for range r.IntN(4) {
		at := r.IntN(len(body))
		switch r.IntN(5) {
		case 0:
			body = body[:at] + string(rune(32+r.IntN(95))) + body[at+1:]
		case 1:
			body = body[:at] + body[at+1:]
		case 2:
			body = body[:at] + body[at:at+1] + body[at:]
		case 3:
			body = strings.Replace(body, `"run_ms":10`, fmt.Sprintf(`"run_ms":%d`, r.Uint64N(1<<r.IntN(64)+1)), 1)
		case 4:
			body = strings.Replace(body, `"volume_ml":`, `"volume_ml":`+[]string{"0", "9", "-", "1e", "."}[r.IntN(5)], 1)
		}
		if len(body) < 2 {
			return []byte("{}")
		}
	}
	return []byte(body + `"expires"` + expires)
}
