//go:build !unix

package desk

import "time"

var begun = time.Now()

// processorTime is the wall time since the start: this system does not tell.
func processorTime() time.Duration { return time.Since(begun) }
