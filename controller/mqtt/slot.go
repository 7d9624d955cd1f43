package mqtt

import (
	"sync"
	"time"
)

// slots hold the newest body of each topic of which only the newest matters.
type slots struct {
	// first is a topic's first slot, next the following slot of the same topic or
	// -1: one payload may carry several values. Read-only after New.
	first map[string]int
	next  []int

	mu    sync.Mutex
	slot  []slot
	dirty []int // slots with something new, in order of arrival
	spare []int
}

type slot struct {
	body     []byte
	arrived  time.Time
	missed   uint64 // live values that were replaced before anyone took them
	fresh    bool
	retained bool
}

func newSlots(topics []string) *slots {
	s := &slots{first: make(map[string]int, len(topics)), next: make([]int, len(topics)), slot: make([]slot, len(topics)),
		dirty: make([]int, 0, len(topics)), spare: make([]int, 0, len(topics))}
	for i := len(topics) - 1; i >= 0; i-- {
		s.next[i] = -1
		if following, shared := s.first[topics[i]]; shared {
			s.next[i] = following
		}
		s.first[topics[i]] = i
	}
	return s
}

// put stores a body in all slots of a topic from the first on, and says whether it
// replaced one that nobody took, or was itself dropped.
func (s *slots) put(first int, body []byte, retained bool, arrived time.Time) (replaced bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := first; i >= 0; i = s.next[i] {
		replaced = s.store(i, body, retained, arrived)
	}
	return replaced
}

func (s *slots) store(i int, body []byte, retained bool, arrived time.Time) (replaced bool) {
	slot := &s.slot[i]
	switch {
	case !slot.fresh:
		slot.fresh = true
		s.dirty = append(s.dirty, i)
	case retained && !slot.retained:
		// The broker's stored copy is at best as new as the live value waiting here.
		return true
	case !slot.retained:
		slot.missed++
		replaced = true
	}
	slot.body, slot.retained, slot.arrived = body, retained, arrived
	return replaced
}

// take hands each waiting body to each, without holding up put meanwhile. One
// goroutine at a time.
func (s *slots) take(each func(slot int, body []byte, retained bool, arrived time.Time, missed uint64)) {
	s.mu.Lock()
	batch := s.dirty
	s.dirty, s.spare = s.spare[:0], nil
	s.mu.Unlock()
	for _, i := range batch {
		s.mu.Lock()
		taken := s.slot[i]
		s.slot[i] = slot{}
		s.mu.Unlock()
		each(i, taken.body, taken.retained, taken.arrived, taken.missed)
	}
	s.mu.Lock()
	s.spare = batch[:0]
	s.mu.Unlock()
}

func (s *slots) empty() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.dirty) == 0
}
