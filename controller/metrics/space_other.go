//go:build !linux && !darwin

package metrics

// Space is not asked for on this system.
func Space(string) (free, size float64) { return unknown, unknown }
