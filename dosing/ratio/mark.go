package ratio

import (
	"time"

	"leat/dosing/blend"
)

// marks are the estimates of earlier moments, for analyses that come days after their
// sample.
type marks []mark

type mark struct {
	up      time.Duration
	content blend.Content
}

// markEvery and marksKept are how far back a sample may have been taken.
const (
	markEvery = 3 * time.Hour
	marksKept = 21 * 24 / 3
)

// add keeps an estimate; the oldest makes room for it.
func (m *marks) add(up time.Duration, content blend.Content) {
	if len(*m) >= marksKept {
		*m = append((*m)[:0], (*m)[1:]...)
	}
	*m = append(*m, mark{up, content})
}

// nearest is the estimate whose moment lies nearest to up; otherwise, where there is none.
func (m marks) nearest(up time.Duration, otherwise blend.Content) blend.Content {
	best := -1
	for i := range m {
		if best < 0 || (m[i].up-up).Abs() < (m[best].up-up).Abs() {
			best = i
		}
	}
	if best < 0 {
		return otherwise
	}
	return m[best].content
}
