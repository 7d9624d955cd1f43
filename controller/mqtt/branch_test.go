package mqtt_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"leat/controller/mqtt"
)

// Two stations of one process share its connection: each hears its own topics, and what both
// want; one that leaves hears nothing more, and the other goes on.
func TestBranchesShareOneConnectionAndHearTheirOwn(t *testing.T) {
	inHouse(t, func(t *testing.T, h *house) {
		options := h.options()
		options.Latest, options.Queued = nil, nil
		trunk := run(t, options)
		settle()
		ctx, leave := context.WithCancel(t.Context())
		north := trunk.Branch([]string{"leat/north/ph", "leat/weather"}, []string{"leat/north/report"})
		south := trunk.Branch([]string{"leat/south/ph", "leat/weather"}, nil)
		ended := make(chan error, 2)
		go func() { ended <- north.Run(ctx) }()
		go func() { ended <- south.Run(t.Context()) }()
		settle()
		for _, b := range []*mqtt.Link{north, south} {
			if open := <-b.Changed(); !open || !b.Open() {
				t.Error("a branch of an open link was not told that it is open")
			}
		}
		h.publish("leat/north/ph", "6.1", false)
		h.publish("leat/weather", "21", false)
		h.publish("leat/north/report", "done", false)
		settle()
		if n, s := bodies(north), bodies(south); n[0] != "6.1" || n[1] != "21" || s[1] != "21" || len(s) != 1 {
			t.Errorf("north took %v, south %v", n, s)
		}
		if m, ok := north.Next(); !ok || string(m.Body) != "done" {
			t.Errorf("north's report: %v %v", m, ok)
		}
		if _, ok := south.Next(); ok {
			t.Error("south heard north's report")
		}
		leave()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		settle()
		stray := trunk.Stats().Stray
		h.publish("leat/north/ph", "6.2", false)
		h.publish("leat/weather", "22", false)
		settle()
		if n, s := bodies(north), bodies(south); len(n) != 0 || s[1] != "22" {
			t.Errorf("after it left north took %v, south %v", n, s)
		}
		if trunk.Stats().Stray != stray {
			t.Error("the broker still sends what only north wanted")
		}
		trunk.Reopen(errors.New("a test"))
		time.Sleep(5 * time.Second) // of the bubble
		settle()
		if shut := <-south.Changed(); shut {
			t.Error("south was not told of the loss first")
		}
		if open := <-south.Changed(); !open {
			t.Error("south was not told that the link is open again")
		}
		h.publish("leat/south/ph", "5.9", false)
		settle()
		if s := bodies(south); s[0] != "5.9" {
			t.Errorf("south took %v after the link came back", s)
		}
		if err := south.Close(t.Context()); err != nil {
			t.Error(err)
		}
		if !trunk.Open() {
			t.Error("a station that ends closed the link of the others")
		}
		trunk.close()
	})
}

func bodies(l *mqtt.Link) map[int]string {
	all := map[int]string{}
	for _, t := range (&running{Link: l}).takeAll() {
		all[t.slot] = t.body
	}
	return all
}
