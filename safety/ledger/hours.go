package ledger

import (
	"time"

	"leat/dosing"
)

// hours counts volume by hour of the timeline.
type hours struct {
	newest int64
	volume [DemandHours]dosing.Volume
}

func (h *hours) add(at time.Duration, change dosing.Volume) {
	hour := int64(at / time.Hour)
	h.reach(hour)
	if hour > h.newest-DemandHours {
		h.volume[hour%DemandHours] += change
	}
}

// reach moves the window so that it ends with the given hour.
func (h *hours) reach(hour int64) {
	for steps := 0; h.newest < hour; steps++ {
		if steps >= DemandHours {
			h.newest = hour
			return
		}
		h.newest++
		h.volume[h.newest%DemandHours] = 0
	}
}

// last is what each of the newest hours has, the newest last.
func (h *hours) last(count int64) []dosing.Volume {
	all := make([]dosing.Volume, 0, count)
	for hour := h.newest - count + 1; hour <= h.newest; hour++ {
		all = append(all, h.volume[hour%DemandHours])
	}
	return all
}

func (h *hours) sum() (sum dosing.Volume) {
	for _, v := range h.last(min(recentHours, h.newest+1)) {
		sum += v
	}
	return sum
}
