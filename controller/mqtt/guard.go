package mqtt

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"net"
	"sync/atomic"
	"time"
)

// Numbers of MQTT 3.1.1.
const (
	packetPublish    = 3
	largestOther     = 4 << 10 // no other packet for a subscriber is near this
	readAhead        = 16 << 10
	longestLengthLen = 4
)

// guard stands between paho and the socket. paho allocates whatever length a
// packet announces, up to 256 MB, reads the socket byte by byte, and writes
// acknowledgements without a deadline. The guard cuts a publication that is larger
// than the limit to one byte more than the limit, so that it is still acknowledged
// and then counted as oversize; reads ahead; and gives every write a deadline.
type guard struct {
	net.Conn
	in           *bufio.Reader
	limit        int // of the body of a publication
	writeTimeout time.Duration
	received     *atomic.Uint64 // publications begun

	head [1 + longestLengthLen]byte
	rest []byte // of head, not yet handed on
	pass int    // bytes to hand on as they are
	skip int    // bytes to drop after them
}

func newGuard(conn net.Conn, limit int, writeTimeout time.Duration, received *atomic.Uint64) *guard {
	return &guard{Conn: conn, in: bufio.NewReaderSize(conn, readAhead), limit: limit, writeTimeout: writeTimeout, received: received}
}

// Read hands on packets, cut where too large.
func (g *guard) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	for len(g.rest) == 0 && g.pass == 0 {
		if g.skip > 0 {
			n, err := g.in.Discard(g.skip)
			g.skip -= n
			if err != nil {
				return 0, err
			}
		}
		if err := g.next(); err != nil {
			return 0, err
		}
	}
	if len(g.rest) > 0 {
		n := copy(p, g.rest)
		g.rest = g.rest[n:]
		return n, nil
	}
	n, err := g.in.Read(p[:min(len(p), g.pass)])
	g.pass -= n
	return n, err
}

// next reads the fixed header of the next packet (MQTT 3.1.1, 2.2).
func (g *guard) next() error {
	first, err := g.in.ReadByte()
	if err != nil {
		return err
	}
	length, err := g.length()
	if err != nil {
		return err
	}
	keep := length
	if first>>4 == packetPublish {
		if length > g.limit {
			if keep, err = g.shortened(first, length); err != nil {
				return err
			}
		}
		g.received.Add(1)
	} else if length > largestOther {
		return fmt.Errorf("broker sends a packet of type %d with %d bytes; is it an MQTT broker?", first>>4, length)
	}
	g.pass, g.skip = keep, length-keep
	g.head[0] = first
	n := 1
	for rest := keep; ; {
		digit := byte(rest & 0x7f)
		if rest >>= 7; rest > 0 {
			digit |= 0x80
		}
		g.head[n] = digit
		n++
		if rest == 0 {
			break
		}
	}
	g.rest = g.head[:n]
	return nil
}

func (g *guard) length() (int, error) {
	length := 0
	for i := range longestLengthLen {
		digit, err := g.in.ReadByte()
		if err != nil {
			return 0, err
		}
		length |= int(digit&0x7f) << (7 * i)
		if digit&0x80 == 0 {
			return length, nil
		}
	}
	return 0, fmt.Errorf("broker sends a malformed length; is it an MQTT broker?")
}

// shortened is the length of a publication whose body ends one byte after the
// limit.
func (g *guard) shortened(first byte, length int) (int, error) {
	topic, err := g.in.Peek(2)
	if err != nil {
		return 0, err
	}
	head := 2 + int(binary.BigEndian.Uint16(topic))
	if first>>1&3 > 0 {
		head += 2 // the packet's identifier
	}
	if head > length {
		return 0, fmt.Errorf("broker sends a malformed publication; is it an MQTT broker?")
	}
	return min(length, head+g.limit+1), nil
}

// Write writes within the time limit or fails, and with it the link.
func (g *guard) Write(p []byte) (int, error) {
	if err := g.Conn.SetWriteDeadline(time.Now().Add(g.writeTimeout)); err != nil {
		return 0, err
	}
	return g.Conn.Write(p)
}

// SetWriteDeadline does nothing: each Write sets its own, and paho would take that
// of a concurrent ping away.
func (g *guard) SetWriteDeadline(time.Time) error { return nil }
