package campaign

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/safety/ledger"
)

// evening is the wall time at which every night's daemon starts. Doses do not
// depend on it.
var evening = time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC)

// played is what one night under the daemon left behind.
type played struct {
	scores []Score // by tank
	hash   uint64
	trace  *Trace
	view   *controller.View
	people *PeopleCount
}

// run plays the night under the shipped daemon. tell, if any, is given each line of
// the daemon's log.
func (s *Scene) run(tell func(at time.Duration, n controller.Notice)) (*played, error) {
	options := s.Options
	if s.water != nil {
		options.Water = s.water()
	}
	if s.plant != "" {
		program, err := startPlant(s.plant, s.stderr, s)
		if err != nil {
			return nil, err
		}
		defer program.end()
		options.Water = program
	}
	farm, err := sim.New(s.Settings, s.Topics, s.Wires, options)
	if err != nil {
		return nil, err
	}
	n, record, err := s.prepare(farm, tell)
	if err != nil {
		return nil, err
	}
	n.Begin()
	n.Run(s.Options.Rest, nil)
	n.Arm()
	for _, a := range n.Answers {
		if !a.Accepted {
			return nil, fmt.Errorf("tank %s cannot be armed from this record: %s", s.Settings.Safety.Tanks[a.Tank].Name, a.Text)
		}
	}
	out := &played{trace: record.trace}
	record.look(n.Now())
	hands := &grower{slips: s.slips, settings: s.Settings, night: n, farm: farm, begin: s.Options.Rest, count: PeopleCount{Slips: map[string]int{}}}
	crew := &crew{quarrels: s.quarrels, settings: s.Settings, night: n, begin: s.Options.Rest}
	helper := &helper{chores: slices.Clone(s.chores), settings: s.Settings, night: n, farm: farm, begin: s.Options.Rest, done: map[string]int{}}
	n.Run(s.Hours, func(now dosing.Instant) {
		record.look(now)
		hands.second(now)
		crew.second(now)
		helper.second(now)
		for _, step := range s.steps {
			if now.Up-s.Options.Rest == step.at {
				n.StepWall(step.by)
			}
		}
	})
	hands.count.Quarrelled, hands.count.Chores = crew.asked, helper.done
	if len(s.slips)+len(s.quarrels)+len(s.chores) > 0 {
		out.people = &hands.count
	}
	if err := errors.Join(farm.Err(), record.replay(n.Now())); err != nil {
		return nil, err
	}
	out.scores = s.scores(farm, record.trace)
	out.hash = farm.TraceHash()
	out.view = n.Core.View(n.Now())
	return out, nil
}

// scores are those of the tanks, with what they were given.
func (s *Scene) scores(farm *sim.Farm, trace *Trace) []Score {
	scores := trace.scores(s.Hours)
	for id := range scores {
		score := &scores[id]
		score.Acid, score.Base, score.Unsolved = given(farm, s.Settings.Pumps(), dosing.TankID(id))
	}
	return scores
}

// prepare joins the farm with its faults, the daemon and who watches them.
func (s *Scene) prepare(farm *sim.Farm, tell func(at time.Duration, n controller.Notice)) (*sim.Night, *recorder, error) {
	for _, in := range s.Faults {
		in.At += s.Options.Rest
		if err := farm.Inject(in); err != nil {
			return nil, nil, err
		}
	}
	record, err := newRecorder(s, farm)
	if err != nil {
		return nil, nil, err
	}
	store, wall := &ledger.Memory{}, evening
	if s.record != nil {
		store = s.record.Copy()
	}
	if !s.wall.IsZero() {
		wall = s.wall
	}
	n, err := sim.PrepareNight(s.Settings, s.Topics, s.Feeds, farm, store, wall)
	if err != nil {
		return nil, nil, err
	}
	record.night, record.store, n.Seen = n, store, record.seen
	record.drawn = []time.Duration{s.Options.Rest + (s.Hours * time.Duration(s.Seed%97) / 97).Truncate(time.Second)}
	for i := range s.slips {
		record.drawn = append(record.drawn, s.Options.Rest+s.slips[i].at+2*time.Second, s.Options.Rest+s.slips[i].seen+2*time.Second)
	}
	if tell != nil {
		n.Notice = func(now dosing.Instant, notice controller.Notice) { tell(now.Up-s.Options.Rest, notice) }
	}
	return n, record, nil
}

// scores scores each tank by the samples of a trace.
func (t *Trace) scores(night time.Duration) []Score {
	follow := make([]*scorer, len(t.Settings.Tanks))
	for id := range follow {
		follow[id] = newScorer(night)
	}
	for i := range t.Samples {
		s := &t.Samples[i]
		follow[s.Tank].sample(s.At-t.Begins, s.PH, s.EC, s.Target)
	}
	all := make([]Score, len(follow))
	for id, f := range follow {
		all[id] = Score{PH: f.ph.end(), EC: f.ec.end()}
	}
	for i := range t.Orders {
		all[t.Orders[i].Tank].Doses++
	}
	return all
}
