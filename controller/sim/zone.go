package sim

import (
	"time"

	"leat/controller"
)

// zone takes water from its tank and gives it back. A flood bench fills, stands
// and drains; film and rafts hold their water and swap it all the time.
type zone struct {
	set    controller.Zone
	water  parcel
	litres float64       // when in use
	gas    float64       // CO2 exchange with the room, per hour
	stays  time.Duration // how long film and raft water stays in it
	state  zoneState
	until  time.Duration // end of the present state
	next   time.Duration // start of the next flood; 0 = none
	every  time.Duration
	plan   []time.Duration // floods still to come, in place of every
	runs   time.Duration   // of a flood that leat schedules, until its pump stops
	rests  bool            // of film and raft: between two runs of its schedule
}

type zoneState uint8

const (
	zoneIdle zoneState = iota
	zoneFilling
	zoneStanding
	zoneDraining
)

func (z *zone) floods() bool { return z.set.Kind == controller.ZoneFlood }

// second moves the water of a flood bench for one second.
func (z *zone) second(t *tank, now time.Duration) {
	if !z.floods() {
		return
	}
	switch z.state {
	case zoneIdle:
		if z.next > 0 && now >= z.next {
			z.begin(t, now)
		}
	case zoneFilling:
		z.water.add(t.bulk.takeLitres(z.litres / t.plant.FloodFill.Seconds()))
		if now >= z.until {
			z.state, z.until = zoneStanding, now+z.stands(t)
		}
	case zoneStanding:
		if now >= z.until {
			z.keep(t)
			z.state, z.until = zoneDraining, now+t.plant.FloodDrain
		}
	case zoneDraining:
		z.drain(t, now)
	}
}

// stands is how long a full bench stands: as leat schedules it, else as its plant has it.
func (z *zone) stands(t *tank) time.Duration {
	if z.runs > 0 {
		return max(z.runs-t.plant.FloodFill, 0)
	}
	return t.plant.FloodStand
}

// begin starts a flood, unless the tank has too little to give.
func (z *zone) begin(t *tank, now time.Duration) {
	z.next = 0
	if z.every > 0 {
		z.next = now + z.every
	}
	if len(z.plan) > 0 {
		z.next, z.plan = max(z.plan[0], now+time.Second), z.plan[1:]
	}
	if t.litres() < 1.5*z.litres {
		return
	}
	z.state, z.until = zoneFilling, now+t.plant.FloodFill
}

// keep is what the bench does to the water while it stands: roots and substrate
// keep a share of the nutrients, and some water.
func (z *zone) keep(t *tank) {
	share := z.water.take(t.plant.FloodKept)
	t.book.taken.add(share)
}

func (z *zone) drain(t *tank, now time.Duration) {
	left := (z.until - now).Seconds()
	if t.trouble.noDrain && z.water.litres <= 0.7*z.litres {
		return // the outlet is clogged: the flood does not end
	}
	if left < 1 {
		t.plume.add(z.water.take(1))
		z.state = zoneIdle
		return
	}
	t.plume.add(z.water.take(1 / (left + 1)))
}

// exchange swaps film and raft water with the tank.
func (z *zone) exchange(t *tank, now time.Duration) {
	if z.rests || z.floods() || z.set.Kind == controller.ZoneFilm && t.trouble.filmOff || t.speed+t.trouble.speed <= 0 {
		return
	}
	share := 0.5
	if z.stays > 0 {
		share = min(exchangeEvery.Seconds()/z.stays.Seconds(), share)
	}
	exchange(&t.bulk, &z.water, z.litres*share)
}
