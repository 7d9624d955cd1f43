//go:build unix

package app

import (
	"testing"

	"leat/controller/app/apptest"
)

// A broker may deliver the retained claim of an earlier run before the link counts as
// open, and a link may close under a stop that waits to go out.
func TestAStopThatFindsNoOpenLinkStaysOwed(t *testing.T) {
	a, err := New(apptest.Load(t, apptest.Config(t, "mqtt://127.0.0.1:1")), Options{Supervise: func(string) {}, Clock: still{}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(a.Close)
	a.outbox.stopOwed = true
	a.owners.claim(a.clock.Now())
	if !a.outbox.stopOwed {
		t.Error("the station was claimed without a link, and the stop of the start is forgotten")
	}
	a.outbox.stopOwed = false
	a.sender.take(message{topic: a.wires.topics.Stop(), qos: 1, stop: true}, true, nil)
	a.tick(a.clock.Now())
	if !a.outbox.stopOwed {
		t.Error("a stop that was not published is forgotten")
	}
}
