package mqtt

import (
	"strings"
	"sync"
)

// queue holds the messages of which every one matters, in order of arrival. Each
// pattern may have so many waiting; beyond that its newest are dropped and
// counted, because an early report outweighs a late flood.
type queue struct {
	exact    map[string]int // read-only after New
	patterns []pattern
	perItem  int

	mu      sync.Mutex
	ring    []queued
	head, n int
	waiting []int // per item
}

type pattern struct {
	text string
	item int
}

type queued struct {
	Message
	item int
}

func newQueue(filters []string, perItem int) *queue {
	q := &queue{exact: make(map[string]int, len(filters)), perItem: perItem, waiting: make([]int, len(filters)), ring: make([]queued, 16)}
	for i, filter := range filters {
		if strings.ContainsAny(filter, "+#") {
			q.patterns = append(q.patterns, pattern{filter, i})
		} else {
			q.exact[filter] = i
		}
	}
	return q
}

// item is whose share a topic counts against, -1 for none.
func (q *queue) item(topic string) int {
	if i, ok := q.exact[topic]; ok {
		return i
	}
	for _, p := range q.patterns {
		if matches(p.text, topic) {
			return p.item
		}
	}
	return -1
}

// put appends a message unless its share is used up.
func (q *queue) put(item int, m Message) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.waiting[item] >= q.perItem {
		return false
	}
	if q.n == len(q.ring) {
		ring := make([]queued, 2*q.n)
		copy(ring[copy(ring, q.ring[q.head:]):], q.ring[:q.head])
		q.ring, q.head = ring, 0
	}
	q.ring[(q.head+q.n)%len(q.ring)] = queued{m, item}
	q.n++
	q.waiting[item]++
	return true
}

func (q *queue) next() (Message, bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.n == 0 {
		return Message{}, false
	}
	first := q.ring[q.head]
	q.ring[q.head] = queued{}
	q.head = (q.head + 1) % len(q.ring)
	q.n--
	q.waiting[first.item]--
	return first.Message, true
}

func (q *queue) empty() bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.n == 0
}

// matches says whether a topic filter covers a topic (MQTT 3.1.1, 4.7).
func matches(filter, topic string) bool {
	if topic != "" && topic[0] == '$' && filter != "" && (filter[0] == '+' || filter[0] == '#') {
		return false
	}
	for {
		level, filterRest, moreFilter := strings.Cut(filter, "/")
		if level == "#" {
			return true
		}
		name, topicRest, moreTopic := strings.Cut(topic, "/")
		if level != "+" && level != name {
			return false
		}
		if !moreFilter || !moreTopic {
			// "leat/#" covers "leat" itself.
			return moreFilter == moreTopic || moreFilter && filterRest == "#"
		}
		filter, topic = filterRest, topicRest
	}
}
