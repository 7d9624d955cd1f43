//go:build !linux && !darwin

package metrics

import "time"

// Space is not asked for on this system.
func Space(string) (free, size float64) { return unknown, unknown }

// processorTime is not asked for on this system.
func processorTime() (time.Duration, bool) { return 0, false }
