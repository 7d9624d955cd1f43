package mqtt_test

import (
	"context"
	"fmt"
	"net"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/mochi-mqtt/server/v2/packets"

	"leat/controller/mqtt"
)

// Row 57: 10 MB, then the next reading.
func TestOversizeMessageIsDroppedUnreadAndTheNextArrives(t *testing.T) {
	inHouse(t, func(t *testing.T, h *house) {
		options := h.options()
		link := run(t, options)
		settle()
		limit := 64 << 10
		h.publish("leat/r/reading/ph", strings.Repeat("6", limit), false)
		settle()
		if got := link.takeAll(); len(got) != 1 || len(got[0].body) != limit {
			t.Error("a body of just the limit did not arrive whole")
		}
		for _, size := range []int{limit + 1, limit + 2, 10 << 20} {
			h.publish("leat/r/reading/ph", strings.Repeat("6", size), false)
			h.publish("leat/r/report/acid", strings.Repeat("6", size), false)
			settle()
		}
		if link.takeAll() != nil || link.nextAll() != nil {
			t.Error("an oversize message was stored")
		}
		h.publish("leat/r/reading/ph", "6.0", false)
		h.publish("leat/r/report/acid", "done", false)
		settle()
		if got := link.takeAll(); !reflect.DeepEqual(got, []taken{{0, "6.0", false, 0}}) {
			t.Errorf("got %v", got)
		}
		if got := link.nextAll(); !slices.Equal(got, []string{"leat/r/report/acid done"}) {
			t.Errorf("got %v", got)
		}
		if s := link.Stats(); s.Oversize != 6 || s.Opened != 1 || !link.Idle() {
			t.Errorf("got %+v, idle %t", s, link.Idle())
		}
		// All were acknowledged, so that the broker does not send them again.
		if client, ok := h.server.Clients.Get("leat-test"); !ok || client.State.Inflight.Len() != 0 {
			t.Error("the broker still waits for an acknowledgement")
		}
		link.close()
	})
}

// A broker that announces 256 MB gets no memory for it.
func TestAnnouncedSizeIsNotBelieved(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ours, theirs := net.Pipe()
		link := run(t, mqtt.Options{ClientID: "x", Dial: func(context.Context) (net.Conn, error) { return ours, nil }})
		var p [1024]byte
		if _, err := theirs.Read(p[:]); err != nil { // CONNECT
			t.Fatal(err)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		for _, part := range [][]byte{{0x20, 2, 0, 0}, {0x30, 0xff, 0xff, 0xff, 0x7f, 0, 1, 'a'}, make([]byte, 100_000)} {
			if _, err := theirs.Write(part); err != nil {
				t.Fatal(err)
			}
		}
		settle()
		runtime.ReadMemStats(&after)
		if grown := (after.TotalAlloc - before.TotalAlloc) >> 20; grown > 10 || link.Stats().Oversize != 1 {
			t.Errorf("%d MB for it, %+v", grown, link.Stats())
		}
		theirs.Close()
		link.close()
	})
}

// Row 58: while nobody takes anything, the newest reading survives, reports keep
// their room, and the memory is bounded.
func TestFloodKeepsTheNewestReadingAndTheReports(t *testing.T) {
	inHouse(t, func(t *testing.T, h *house) {
		options := h.options()
		options.QueuePerItem = 10
		link := run(t, options)
		settle()
		const flood = 5000
		for i := range flood {
			h.publish("leat/r/reading/ph", fmt.Sprint(i), false)
			h.publish("leat/r/node/n", fmt.Sprint(i), false)
			if i%100 == 0 {
				settle()
			}
		}
		h.publish("leat/r/report/acid", "done", false)
		settle()
		if got := link.takeAll(); !reflect.DeepEqual(got, []taken{{0, fmt.Sprint(flood - 1), false, flood - 1}}) {
			t.Errorf("got %v", got)
		}
		got := link.nextAll()
		if len(got) != 11 || got[0] != "leat/r/node/n 0" || got[10] != "leat/r/report/acid done" {
			t.Errorf("got %v", got)
		}
		if s := link.Stats(); s.Dropped != flood-10 || s.Queued != 11 || s.Received != 2*flood+1 {
			t.Errorf("got %+v", s)
		}
		link.close()
	})
}

func TestSlowTakerDoesNotHoldUpTheReader(t *testing.T) {
	inHouse(t, func(t *testing.T, h *house) {
		link := run(t, h.options())
		settle()
		h.publish("leat/r/reading/ph", "6.0", false)
		h.publish("leat/r/reading/ec", "1.0", false)
		settle()
		var got []taken
		link.Take(func(slot int, body []byte, retained bool, _ time.Time, missed uint64) {
			got = append(got, taken{slot, string(body), retained, missed})
			if len(got) == 1 {
				// Taking takes a while, in which more arrives for both.
				h.publish("leat/r/reading/ph", "6.1", false)
				h.publish("leat/r/reading/ec", "1.1", false)
				settle()
			}
		})
		if want := []taken{{0, "6.0", false, 0}, {1, "1.1", false, 1}}; !reflect.DeepEqual(got, want) {
			t.Errorf("got %v, want %v", got, want)
		}
		if got := link.takeAll(); !reflect.DeepEqual(got, []taken{{0, "6.1", false, 0}}) {
			t.Errorf("got %v", got)
		}
		link.close()
	})
}

func TestStrayMessagesAreCountedAndDropped(t *testing.T) {
	inHouse(t, func(t *testing.T, h *house) {
		options := h.options()
		link := run(t, options)
		settle()
		client, _ := h.server.Clients.Get("leat-test")
		// A broker gone wrong sends what nobody asked for.
		err := client.WritePacket(packets.Packet{FixedHeader: packets.FixedHeader{Type: packets.Publish, Qos: 1}, PacketID: 9,
			TopicName: "somewhere/else", Payload: []byte("x"), ProtocolVersion: 4})
		if err != nil {
			t.Fatal(err)
		}
		settle()
		if s := link.Stats(); s.Stray != 1 || !link.Idle() || link.takeAll() != nil || link.nextAll() != nil {
			t.Errorf("got %+v", s)
		}
		link.close()
	})
}
