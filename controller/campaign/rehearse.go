package campaign

import (
	"context"
	"fmt"
	"io"
	"math"
	"strings"
	"sync"
	"time"

	"leat/controller/sim"
	"leat/dosing/loop"
)

// Options is what to rehearse.
type Options struct {
	Set       string
	Nights    int
	Seed      uint64 // of the first night; each further night has the next one
	Faults    string // none, one, two, each, swarm, or names of sim.Faults as listed reads them
	Baselines bool
	People    bool // they pour, mistype and put it right
	Workers   int
	// Farm, if any, is the user's own station in place of drawn ones; Path is where it
	// is described and From the state folder of its Past, for the command of a replay.
	Farm       *Farm
	Path, From string
	// Part, if any, is all that is left of the night.
	Part *Part
	// Without is a part of the law to leave out, by name; "" = nothing.
	Without string
	// Plant is a program that computes the water, in place of the simulated one; see
	// plant.go for its lines. Stderr is where its complaints go.
	Plant  string
	Stderr io.Writer
	// Progress is told how many nights are done; nil = nobody. It is called by one
	// goroutine at a time.
	Progress func(done int)
	// Clock tells the processor time used so far, for the speed; nil = not measured.
	Clock func() time.Duration
}

// twiceEvery is how often a night is played twice to see that it is the same night.
const twiceEvery = 100

// Outcome is one night's result.
type Outcome struct {
	Night       int
	Seed        uint64
	Fault       string
	Hours       float64
	Mixing      time.Duration // θ + 3τ of the first tank
	Redrawn     int
	Tanks       []string // by name
	Scores      []Score  // by tank
	Timer       *Score
	WaitAndLook *Score
	Seer        *Score
	Violations  []Violation
	Alarms      AlarmCount
	Sightings   []Sighting // of each fault
	Twinned     bool       // there was a fault, and Harm holds
	Harm        Harm
	bound       Harm         // of what doses may do
	People      *PeopleCount // nil without
	Hash        uint64
}

// AlarmCount is what one night's alarms were.
type AlarmCount struct {
	P1, P2, All   int
	FalseInhibits int
	Causes        []string       // of the false inhibits
	Called        map[string]int // alarms by priority and cause
}

// Rehearse plays the nights and judges them.
func Rehearse(ctx context.Context, o Options) (*Report, error) {
	set, err := o.check()
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	outcomes := make([]*Outcome, o.Nights)
	var mutex sync.Mutex
	var first error
	next, done := 0, 0
	var wait sync.WaitGroup
	for range max(1, o.Workers) {
		wait.Go(func() {
			for {
				mutex.Lock()
				night := next
				next++
				mutex.Unlock()
				if night >= o.Nights || ctx.Err() != nil {
					return
				}
				out, err := o.night(&set, night)
				mutex.Lock()
				if err != nil && first == nil {
					first = err
					cancel()
				}
				outcomes[night] = out
				done++
				if o.Progress != nil && err == nil {
					o.Progress(done)
				}
				mutex.Unlock()
			}
		})
	}
	wait.Wait()
	if first != nil {
		return nil, first
	}
	if ctx.Err() != nil {
		return nil, fmt.Errorf("interrupted after %d of %d nights", done, o.Nights)
	}
	r := o.report(&set, outcomes)
	if v := r.Invariants.First; v != nil {
		left, err := o.shrink(&set, v)
		if err != nil {
			return nil, err
		}
		r.Invariants.Farm, r.Invariants.Replay = left, left.replay(&o, v.Night)
		if left.Faults != faultsNone {
			r.Invariants.Smallest = left.Faults
		}
	}
	return r, nil
}

// Check says what is wrong with the options before anything is played.
func (o *Options) Check() error {
	_, err := o.check()
	return err
}

func (o *Options) check() (set Set, err error) {
	if set, err = SetNamed(o.Set); err != nil {
		return set, err
	}
	if err := checkFaults(o.Faults); err != nil {
		return set, err
	}
	if _, ok := loop.ParseWithout(o.Without); o.Without != "" && !ok {
		return set, fmt.Errorf("without %q: want transit, learning, feed-forward or pessimism", o.Without)
	}
	switch {
	case o.Nights < 1:
		err = fmt.Errorf("%d nights to rehearse; give at least 1", o.Nights)
	case (o.Farm != nil || set.whole) && o.Baselines:
		err = fmt.Errorf("baselines are laws for a row of one acid, one base and two stocks; leave -baselines out with a configuration of your own and with the set farms")
	case o.People && (o.Baselines || o.Plant != ""):
		err = fmt.Errorf("people pour into the simulated water under the daemon: leave -baselines and -plant out with -people")
	case o.Plant != "" && (o.Baselines || set.whole || o.Farm != nil && len(o.Farm.Settings.Tanks) != 1):
		err = fmt.Errorf("a plant of your own is the water of one tank, and perfect-knowledge cannot see into it: rehearse one tank, without -baselines")
	}
	return set, err
}

// Night draws one night, with its faults.
func (o *Options) Night(set *Set, night int) (*Scene, string, error) {
	seed := o.Seed + uint64(night)
	var s *Scene
	var faults []sim.Injection
	var err error
	if o.Farm != nil {
		if s, err = o.Farm.scene(seed, night); err == nil {
			faults = drawFaults(o.Faults, seed, s.Hours)
		}
	} else {
		faults = drawFaults(o.Faults, seed, span(set.hours*3600))
		if s, err = set.equipped(faults).Scene(seed); err == nil {
			s.await(faults)
		}
	}
	if err != nil {
		return nil, "", err
	}
	if o.People {
		s.slips, s.quarrels, s.chores = s.drawSlips(), s.drawQuarrels(), s.drawChores()
	}
	if o.Part != nil {
		if s, err = o.Part.of(s, set, faults); err != nil {
			return nil, "", err
		}
	}
	if without, _ := loop.ParseWithout(o.Without); without != loop.WithoutNothing {
		settings := *s.Settings
		settings.Without = without
		s.Settings = &settings
	}
	s.plant, s.stderr = o.Plant, o.Stderr
	s.Faults = faults
	var names []string
	for _, f := range s.Faults {
		names = append(names, f.Fault)
	}
	return s, strings.Join(names, ", "), nil
}

func (o *Options) night(set *Set, night int) (*Outcome, error) {
	s, fault, err := o.Night(set, night)
	if err != nil {
		return nil, err
	}
	p, err := s.run(nil)
	if err != nil {
		return nil, err
	}
	out := &Outcome{Night: night, Seed: s.Seed, Fault: fault, Hours: s.Hours.Hours(), Mixing: s.settled(), Redrawn: s.Redrawn, Scores: p.scores, People: p.people, Hash: p.hash}
	for i := range s.Settings.Safety.Tanks {
		out.Tanks = append(out.Tanks, s.Settings.Safety.Tanks[i].Name)
	}
	out.Violations, err = s.judge(p, night)
	if err != nil {
		return nil, err
	}
	out.Alarms, out.Sightings = p.trace.alarms(), p.trace.sightings(s.Faults)
	if n := len(p.trace.Samples); n > 0 && p.trace.Samples[n-1].Twinned {
		out.Twinned, out.Harm, out.bound = true, p.trace.harm(), p.trace.bound()
	}
	if night%twiceEvery == 0 {
		found, err := s.playAgain(p, night)
		if err != nil {
			return nil, err
		}
		out.Violations = append(out.Violations, found...)
	}
	if !o.Baselines {
		return out, nil
	}
	for _, law := range []struct {
		rule rule
		into **Score
	}{{&timer{}, &out.Timer}, {waitAndLook{}, &out.WaitAndLook}, {perfectKnowledge{}, &out.Seer}} {
		score, err := s.play(law.rule)
		if err != nil {
			return nil, err
		}
		*law.into = &score
	}
	return out, nil
}

// playAgain checks invariant 30: the same seed is the same night.
func (s *Scene) playAgain(p *played, night int) ([]Violation, error) {
	again, err := s.run(nil)
	if err != nil || again.hash == p.hash {
		return nil, err
	}
	return []Violation{{Invariant: deterministic, Seed: s.Seed, Night: night, Text: "the same seed gave another night"}}, nil
}

// judge checks the invariants. A night that left its envelope is played again with
// dead pumps: one that leaves it then, too, is not to blame.
func (s *Scene) judge(p *played, night int) ([]Violation, error) {
	found := Check(p.trace)
	var kept []Violation
	dead := false
	for _, v := range found {
		v.Night = night
		if v.Invariant == 17 && !dead {
			still := *s
			still.Options.DeadPumps = true
			q, err := still.run(nil)
			if err != nil {
				return nil, err
			}
			dead = leavesEnvelope(q.trace)
		}
		if v.Invariant == 17 && dead {
			continue
		}
		kept = append(kept, v)
	}
	return kept, nil
}

func leavesEnvelope(t *Trace) bool {
	for i := range t.Samples {
		s := &t.Samples[i]
		if math.Abs(s.PH-float64(s.Target.PH)) > 0.5 || math.Abs(s.EC-float64(s.Target.EC)) > 0.2 {
			return true
		}
	}
	return false
}
