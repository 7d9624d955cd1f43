package mqtt

import (
	"bytes"
	"errors"
	"io"
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// tape is a connection that plays bytes, so many at a time.
type tape struct {
	net.Conn
	bytes []byte
	step  int
}

func (c *tape) Read(p []byte) (int, error) {
	if len(c.bytes) == 0 {
		return 0, io.EOF
	}
	n := copy(p, c.bytes[:min(c.step, len(c.bytes))])
	c.bytes = c.bytes[n:]
	return n, nil
}

func publication(topic, body string, qos byte) []byte {
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.Payload, p.Qos, p.MessageID = topic, []byte(body), qos, 77
	var out bytes.Buffer
	if err := p.Write(&out); err != nil {
		panic(err) // a buffer takes everything
	}
	return out.Bytes()
}

// paho's own reader is the other side: what comes out must be packets to it.
func TestGuardCutsWhatIsTooLargeAndPassesTheRest(t *testing.T) {
	const limit = 100
	var stream []byte
	type message struct {
		topic, body string
		qos         byte
	}
	var want []message
	for i, size := range []int{0, 1, limit - 1, limit, limit + 1, limit + 2, 200, 70_000, 3, 3_000_000, 5} {
		m := message{strings.Repeat("t", 1+i*20), strings.Repeat("b", size), byte(i % 2)}
		stream = append(stream, publication(m.topic, m.body, m.qos)...)
		stream = append(stream, 0xd0, 0) // a ping's answer between
		m.body = m.body[:min(size, limit+1)]
		want = append(want, m)
	}
	for _, step := range []int{1, 2, 7, 1000, 1 << 20} {
		var received atomic.Uint64
		g := newGuard(&tape{bytes: bytes.Clone(stream), step: step}, limit, time.Second, &received)
		for i, m := range want {
			packet, err := packets.ReadPacket(g)
			if err != nil {
				t.Fatalf("step %d, message %d: %v", step, i, err)
			}
			p, ok := packet.(*packets.PublishPacket)
			if !ok || p.TopicName != m.topic || string(p.Payload) != m.body || p.Qos != m.qos || m.qos > 0 && p.MessageID != 77 {
				t.Fatalf("step %d, message %d: got %.80v", step, i, packet)
			}
			if packet, err := packets.ReadPacket(g); err != nil {
				t.Fatal(err)
			} else if _, ok := packet.(*packets.PingrespPacket); !ok {
				t.Fatalf("step %d: after message %d got %v", step, i, packet)
			}
		}
		if _, err := packets.ReadPacket(g); !errors.Is(err, io.EOF) || received.Load() != uint64(len(want)) {
			t.Errorf("step %d: at the end %v, %d publications", step, err, received.Load())
		}
	}
}

func TestGuardEndsALinkThatIsNoMQTT(t *testing.T) {
	for name, stream := range map[string][]byte{
		"endless length":    {0x30, 0xff, 0xff, 0xff, 0xff, 0x01},
		"huge other packet": {0x90, 0xff, 0xff, 0xff, 0x7f},
		"topic past packet": append([]byte{0x30, 0xf0, 0x01, 0xff, 0xff}, make([]byte, 300)...),
		"a web server":      []byte("HTTP/1.1 400 Bad Request\r\nContent-Type: text/plain\r\nConnection: close\r\n\r\n"),
	} {
		var received atomic.Uint64
		g := newGuard(&tape{bytes: stream, step: 1000}, 100, time.Second, &received)
		if packet, err := packets.ReadPacket(g); err == nil {
			t.Errorf("%s: got %v", name, packet)
		}
	}
}

// Whatever a broker sends, nobody is handed more than the limit, and nothing
// panics.
func FuzzGuard(f *testing.F) {
	f.Add(publication("leat/r/reading/ph", "6.02", 0), uint8(3))
	f.Add(publication("t", strings.Repeat("b", 5000), 1), uint8(200))
	f.Add([]byte{0x30, 0xff, 0xff, 0xff, 0x7f, 0, 1, 'a'}, uint8(1))
	f.Add([]byte{0x20, 2, 0, 0, 0x90, 3, 0, 1, 0x80}, uint8(1))
	f.Fuzz(func(t *testing.T, stream []byte, step uint8) {
		const limit = 50
		var received atomic.Uint64
		g := newGuard(&tape{bytes: stream, step: int(step) + 1}, limit, time.Second, &received)
		var out bytes.Buffer
		_, err := io.Copy(&out, struct{ io.Reader }{g})
		_ = err // any end is right; what came out is looked at below
		rest := out.Bytes()
		for len(rest) > 0 {
			reader := bytes.NewReader(rest)
			packet, err := packets.ReadPacket(reader)
			if err != nil {
				return
			}
			if p, ok := packet.(*packets.PublishPacket); ok && len(p.Payload) > limit+1 {
				t.Fatalf("%d bytes of a body came through", len(p.Payload))
			}
			rest = rest[len(rest)-reader.Len():]
		}
	})
}

// The examples are those of MQTT 3.1.1, section 4.7.
func TestFiltersCoverWhatTheStandardSays(t *testing.T) {
	for _, c := range []struct {
		filter, topic string
		want          bool
	}{
		{"sport/tennis/player1/#", "sport/tennis/player1", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/ranking", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", true},
		{"sport/#", "sport", true}, {"#", "sport", true}, {"sport/tennis/+", "sport/tennis/player1", true},
		{"sport/tennis/+", "sport/tennis/player1/ranking", false}, {"sport/+", "sport", false}, {"sport/+", "sport/", true},
		{"+/+", "/finance", true}, {"/+", "/finance", true}, {"+", "/finance", false},
		{"#", "$SYS/broker", false}, {"+/monitor/Clients", "$SYS/monitor/Clients", false}, {"$SYS/#", "$SYS/broker", true},
		{"leat/r/node/+", "leat/r/node/bench", true}, {"leat/r/node/+", "leat/r/nodes/bench", false}, {"a/b", "a/b", true}, {"a/b", "a", false},
		{"a", "a/b", false}, {"a/+/c", "a/b/c", true}, {"a/+/c", "a/b/d", false}, {"a/+/#", "a", false}, {"a/+/#", "a/b", true},
	} {
		if got := matches(c.filter, c.topic); got != c.want {
			t.Errorf("%q covers %q: got %t", c.filter, c.topic, got)
		}
	}
}

func TestQueueKeepsOrderWhileItGrows(t *testing.T) {
	q := newQueue([]string{"a", "b/+"}, 1000)
	next, put := 0, 0
	for round := range 200 {
		for range round % 17 {
			if !q.put(put%2, Message{Body: []byte{byte(put)}}) {
				t.Fatal("no room")
			}
			put++
		}
		for range round % 13 {
			if m, ok := q.next(); ok {
				if m.Body[0] != byte(next) {
					t.Fatalf("message %d came out as %d", next, m.Body[0])
				}
				next++
			}
		}
	}
	if next < 1000 || q.item("b/x") != 1 || q.item("a") != 0 || q.item("c") != -1 {
		t.Errorf("%d came out", next)
	}
}

// Storing is all a handler does; it must leave nothing to the collector.
func TestSlotAllocatesNothing(t *testing.T) {
	s := newSlots([]string{"a", "b"})
	body, now := []byte("6.02"), time.Unix(0, 0)
	seen := 0
	if n := testing.AllocsPerRun(1000, func() {
		s.put(0, body, false, now)
		s.put(1, body, false, now)
		s.put(1, body, false, now)
		s.take(func(int, []byte, bool, time.Time, uint64) { seen++ })
	}); n != 0 || seen == 0 {
		t.Errorf("%v allocations, %d seen", n, seen)
	}
}
