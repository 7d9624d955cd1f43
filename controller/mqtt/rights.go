package mqtt

import (
	"bufio"
	"context"
	"crypto/tls"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
)

// Right is what a broker answers to a publication: MQTT 5 has a reason for it, which MQTT
// 3.1.1 has not. So a right can be tried without anybody who hears.
type Right uint8

// What a broker answers.
const (
	RightUnknown Right = iota
	Granted
	Denied
)

// Reasons of MQTT 5, 2.4.
const (
	reasonNoSubscriber  = 0x10
	reasonNotAuthorized = 0x87
	reasonNoVersion     = 0x84
)

// ErrNoMQTT5 is a broker that speaks only the older MQTT.
var ErrNoMQTT5 = errors.New("the broker does not speak MQTT 5, so it does not say what it refuses")

// TryRights connects with MQTT 5 as the options say, publishes nothing (a message of no bytes,
// QoS 1, not retained) to each topic, and says what the broker answered. A refused connection
// is an error.
func TryRights(ctx context.Context, o Options, topics []string) (rights []Right, err error) {
	address, secure, err := Address(o.URL)
	if err != nil {
		return nil, err
	}
	var dialer net.Dialer
	conn, err := dialer.DialContext(ctx, "tcp", address)
	if err != nil {
		return nil, err
	}
	defer func() { _ = conn.Close() }()
	if ends, ok := ctx.Deadline(); ok {
		_ = conn.SetDeadline(ends) // of a connection that is open
	}
	if secure {
		settings := &tls.Config{MinVersion: tls.VersionTLS12}
		if o.TLS != nil {
			settings = o.TLS.Clone()
		}
		if settings.ServerName == "" {
			settings.ServerName, _, _ = net.SplitHostPort(address)
		}
		conn = tls.Client(conn, settings)
	}
	t := &trial{w: conn, r: bufio.NewReader(conn)}
	if err := t.connect(o); err != nil {
		return nil, err
	}
	for i, topic := range topics {
		right, err := t.publish(uint16(i+1), topic)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", topic, err)
		}
		rights = append(rights, right)
	}
	_, err = conn.Write([]byte{0xe0, 0}) // DISCONNECT: a last will is not wanted
	return rights, err
}

// trial is one connection of MQTT 5.
type trial struct {
	w io.Writer
	r *bufio.Reader
}

func text(dst []byte, s string) []byte {
	return append(binary.BigEndian.AppendUint16(dst, uint16(len(s))), s...)
}

// send writes a packet of less than 16 kB.
func (t *trial) send(kind byte, body []byte) error {
	head := []byte{kind}
	if n := len(body); n < 128 {
		head = append(head, byte(n))
	} else {
		head = append(head, byte(n&0x7f|0x80), byte(n>>7))
	}
	_, err := t.w.Write(append(head, body...))
	return err
}

// receive reads one packet.
func (t *trial) receive() (kind byte, body []byte, err error) {
	if kind, err = t.r.ReadByte(); err != nil {
		return 0, nil, err
	}
	size, err := binary.ReadUvarint(t.r)
	if err != nil || size > 1<<16 {
		return 0, nil, errors.New("this is no broker")
	}
	body = make([]byte, size)
	_, err = io.ReadFull(t.r, body)
	return kind & 0xf0, body, err
}

func (t *trial) connect(o Options) error {
	flags, login := byte(0x02), []byte(nil) // a clean start
	if o.User != "" {
		flags |= 0x80
		login = text(login, o.User)
		if o.Password != "" {
			flags |= 0x40
			login = text(login, o.Password)
		}
	}
	body := append(text(nil, "MQTT"), 5, flags, 0, 30, 0)
	body = append(text(body, o.ClientID), login...)
	if len(body) >= 1<<14 {
		return errors.New("name and password are too long")
	}
	if err := t.send(0x10, body); err != nil {
		return err
	}
	kind, answer, err := t.receive()
	if err != nil || kind != 0x20 || len(answer) < 2 {
		return ErrNoMQTT5
	}
	switch reason := answer[1]; reason {
	case 0:
		return nil
	case reasonNoVersion, 1:
		return ErrNoMQTT5
	default:
		return fmt.Errorf("the broker refuses the connection, reason 0x%02x", reason)
	}
}

func (t *trial) publish(id uint16, topic string) (Right, error) {
	if err := t.send(0x32, append(binary.BigEndian.AppendUint16(text(nil, topic), id), 0)); err != nil {
		return RightUnknown, err
	}
	for {
		kind, answer, err := t.receive()
		if err != nil {
			return RightUnknown, err
		}
		if kind != 0x40 || len(answer) < 2 || binary.BigEndian.Uint16(answer) != id {
			continue // what somebody else publishes is not for us
		}
		if len(answer) == 2 {
			return Granted, nil
		}
		switch answer[2] {
		case 0, reasonNoSubscriber:
			return Granted, nil
		case reasonNotAuthorized:
			return Denied, nil
		}
		return RightUnknown, fmt.Errorf("reason 0x%02x", answer[2])
	}
}
