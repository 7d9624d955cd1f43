package app

import (
	"time"

	"go.uber.org/zap"
)

// refusals logs payloads that were not taken, each sender at most once a minute:
// a probe that sends rubbish ten times a second must not fill the disk.
type refusals struct {
	log  *zap.Logger
	last map[string]time.Duration
}

func (r *refusals) note(up time.Duration, name string, err error) {
	if last, ok := r.last[name]; ok && up-last < time.Minute {
		return
	}
	r.last[name] = up
	r.log.Warn("payload refused", zap.String("from", name), zap.Error(err))
}

// quota bounds the lines of one kind that a minute may bring to the log. No dose,
// interlock or alarm has one; who asks is answered in any case.
type quota struct {
	minute time.Duration // uptime at which the minute under way began
	used   int
}

const linesPerMinute = 120

func (q *quota) take(up time.Duration) bool {
	if up-q.minute >= time.Minute {
		q.minute, q.used = up, 0
	}
	q.used++
	return q.used <= linesPerMinute
}
