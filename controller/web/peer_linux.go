package web

import (
	"fmt"
	"net"

	"golang.org/x/sys/unix"
)

// peerUser is the user id of the process at the other end of a local connection.
func peerUser(conn net.Conn) string {
	local, ok := conn.(*net.UnixConn)
	if !ok {
		return ""
	}
	raw, err := local.SyscallConn()
	if err != nil {
		return ""
	}
	user := ""
	_ = raw.Control(func(fd uintptr) { // a closed connection has no user
		if peer, err := unix.GetsockoptUcred(int(fd), unix.SOL_SOCKET, unix.SO_PEERCRED); err == nil {
			user = fmt.Sprintf(" user %d", peer.Uid)
		}
	})
	return user
}
