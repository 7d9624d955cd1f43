package app

import (
	"net"
	"os"
	"time"
)

const notifyWithin = 100 * time.Millisecond

// supervise tells systemd how the service is, as sd_notify(3) describes; without
// NOTIFY_SOCKET in the environment it does nothing.
func supervise(state string) {
	socket := os.Getenv("NOTIFY_SOCKET")
	if socket == "" {
		return
	}
	if socket[0] == '@' {
		socket = "\x00" + socket[1:]
	}
	conn, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: socket, Net: "unixgram"})
	if err != nil {
		return // no supervisor to tell
	}
	defer conn.Close()
	// A supervisor that takes nothing must not keep the loop from its next step.
	if err := conn.SetWriteDeadline(time.Now().Add(notifyWithin)); err != nil {
		return
	}
	_, _ = conn.Write([]byte(state)) // best effort by contract: the watchdog acts on silence
}
