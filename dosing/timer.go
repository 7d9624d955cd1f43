package dosing

import "time"

// Timer measures how long something has been so.
type Timer struct {
	Since   time.Duration
	Running bool
}

// Run starts or stops the timer and returns how long it has run.
func (t *Timer) Run(on bool, up time.Duration) time.Duration {
	if !on {
		t.Running = false
		return 0
	}
	if !t.Running {
		t.Since, t.Running = up, true
	}
	return up - t.Since
}
