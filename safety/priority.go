package safety

import "time"

// Priority says when a person must act. The zero priority is the most urgent.
type Priority uint8

// The priorities in the words the grower reads; p1 to p4 stand in data only.
const (
	PriorityNow Priority = iota
	PriorityTonight
	PriorityTomorrow
	PriorityLog
	priorityCount
)

func (p Priority) String() string {
	return [...]string{"now", "tonight", "tomorrow", "log", "now"}[min(p, priorityCount)]
}

// Code is the priority as data: p1 to p4.
func (p Priority) Code() string {
	return [...]string{"p1", "p2", "p3", "p4", "p1"}[min(p, priorityCount)]
}

// When a hold or a stop becomes urgent: a person needs that long to come.
const (
	riseTonight = 6 * time.Hour
	riseNow     = time.Hour
)

// Rise is the priority of what withholds doses, given when pH or EC leaves its
// harm band: tonight when that is less than 6 h off, now when less than 1 h. It
// never lowers a priority.
func (p Priority) Rise(leavesHarm time.Duration) Priority {
	switch {
	case leavesHarm < 0:
		return p
	case leavesHarm < riseNow:
		return min(p, PriorityNow)
	case leavesHarm < riseTonight:
		return min(p, PriorityTonight)
	}
	return p
}
