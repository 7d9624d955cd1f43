package apptest

import (
	"fmt"
	"math/rand/v2"
	"net"
	"testing"
)

// Port is a port of 127.0.0.1 that stays this test's own until it ends, also while the
// broker that listens there is killed and started again: the system gives ports below
// 32768 to nobody who asks for just any, and a UDP socket on the same number tells
// other tests, of this process and others, that it is taken.
func Port(t testing.TB) string {
	t.Helper()
	for range 100 {
		address := fmt.Sprintf("127.0.0.1:%d", 10000+rand.IntN(20000))
		claim, err := net.ListenPacket("udp", address)
		if err != nil {
			continue
		}
		listener, err := net.Listen("tcp", address)
		if err != nil {
			_ = claim.Close() // some other program listens there
			continue
		}
		_ = listener.Close() // its owner binds it
		t.Cleanup(func() { _ = claim.Close() })
		_, port, _ := net.SplitHostPort(address)
		return port
	}
	t.Fatal("no free port of 127.0.0.1 in a hundred draws")
	return ""
}
