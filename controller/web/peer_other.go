//go:build !linux

package web

import "net"

// peerUser is nothing: only Linux is asked.
func peerUser(net.Conn) string { return "" }
