package app

import (
	"maps"
	"slices"

	"go.uber.org/zap"

	"leat/controller/store"
)

// hubs is what home-automation hubs were told of, by topic. Such a message stays at the broker for ever: a hub would go on
// offering the setpoint of a tank that is announced no more.
type hubs struct {
	known map[string]bool // by this run or an earlier one
	now   map[string]bool // by the newest view
}

// openHubs reads what an earlier run announced. What cannot be read stays at the broker, and is said.
func (d *display) openHubs() {
	d.hubs = hubs{known: map[string]bool{}, now: map[string]bool{}}
	topics, err := store.Announced(d.file.State)
	if err != nil {
		d.log.Warn("what hubs were told of is not known; what is announced no more stays at the broker", zap.Error(err))
	}
	for _, topic := range topics {
		d.hubs.known[topic] = true
	}
}

// withdraw clears what is announced no more: with each connection once, since a broker may have lost the first try.
func (d *display) withdraw() {
	before := len(d.hubs.known)
	maps.Copy(d.hubs.known, d.hubs.now)
	if len(d.hubs.known) > before {
		d.noteHubs(d.hubs.known)
	}
	cleared, waits := false, false
	for topic := range d.hubs.known {
		if _, done := d.state.topics[topic]; done || d.hubs.now[topic] {
			continue
		}
		if d.sender.send(message{topic: topic, qos: 1, retained: true}) {
			d.state.topics[topic], cleared = []byte{}, true
		} else {
			waits = true
		}
	}
	if cleared && !waits {
		d.noteHubs(d.hubs.now)
	}
}

func (d *display) noteHubs(topics map[string]bool) {
	if err := store.NoteAnnounced(d.file.State, slices.Collect(maps.Keys(topics))); err != nil {
		d.log.Warn("what hubs are told of is not noted; switched off, it would stay at the broker", zap.Error(err))
	}
}
