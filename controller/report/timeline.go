package report

import (
	"cmp"
	"maps"
	"regexp"
	"slices"
	"time"

	"leat/controller/diary"
	"leat/dosing"
	"leat/safety"
)

// timeline is what stood when: by tank, the stretches in which nothing changed.
type timeline struct {
	from, to time.Time
	zone     *time.Location
	silent   []Stretch // the daemon was not running
	tanks    map[string][]segment
}

// segment is a stretch in which the same interlocks stood and the same was wanted.
type segment struct {
	from, to time.Time
	want     string
	stands   map[interlock]string // with their words
}

type interlock struct{ cause, pump string }

// follower makes the segments of one tank.
type follower struct {
	segments []segment
	since    time.Time
	want     string
	stands   map[interlock]string
}

func (f *follower) until(at time.Time) {
	if at.After(f.since) {
		f.segments = append(f.segments, segment{f.since, at, f.want, maps.Clone(f.stands)})
		f.since = at
	}
}

// newTimeline follows the events. A run that begins where none had ended died: it is
// believed up to the last thing that it wrote.
func newTimeline(past *diary.Past, station *diary.Station, to time.Time) *timeline {
	l := &timeline{from: past.From, to: to, zone: past.Zone, tanks: map[string][]segment{}}
	tanks := map[string]*follower{}
	for i := range station.Tanks {
		tanks[station.Tanks[i].Name] = &follower{since: past.From, want: diary.Unknown, stands: map[interlock]string{}}
	}
	ended, known := past.From, false // when the run before ended
	running := false
	for i := range past.Events {
		e := &past.Events[i]
		at := later(e.At, past.From)
		if e.Kind == diary.KindRun {
			switch {
			case e.Name == diary.RunEnds:
				ended, running = at, false
			case running:
				ended = earlier(lastSign(past, i), at)
			}
			known = known || running
			if e.Name == diary.RunBegins {
				l.pause(tanks, ended, at, known || past.First.Before(past.From))
				running, known = true, true
			}
			continue
		}
		running, known = true, true
		if f := tanks[e.Tank]; f != nil {
			f.take(e, at)
		}
	}
	for name, f := range tanks {
		f.until(to)
		l.tanks[name] = f.segments
	}
	return l
}

// pause says that no daemon ran between two moments.
func (l *timeline) pause(tanks map[string]*follower, from, to time.Time, told bool) {
	from = later(from, l.from)
	for _, f := range tanks {
		f.until(from)
		f.since, f.want = later(to, f.since), diary.Unknown
		clear(f.stands)
	}
	if told && to.Sub(from) >= time.Minute {
		l.silent = append(l.silent, Stretch{From: from.In(l.zone), To: to.In(l.zone), Held: seconds(to.Sub(from)), Text: "leat was not running"})
	}
}

func (f *follower) take(e *diary.Event, at time.Time) {
	k := interlock{e.Name, e.Pump}
	switch {
	case e.Kind == diary.KindWant:
		f.until(at)
		f.want = e.Name
	case e.Kind == diary.KindInterlock && e.Value != 0:
		f.until(at)
		f.stands[k] = e.Text
	case e.Kind == diary.KindInterlock:
		f.until(at)
		delete(f.stands, k)
	}
}

// lastSign is the last that was written before an event that begins a run.
func lastSign(past *diary.Past, begins int) time.Time {
	last, at := past.From, past.Events[begins].At
	if begins > 0 {
		last = later(last, past.Events[begins-1].At)
	}
	for _, minutes := range past.Minutes {
		// The minute in which it begins may hold readings of both runs.
		n, _ := slices.BinarySearchFunc(minutes, at.Add(-time.Minute), func(m diary.Minute, at time.Time) int { return m.At.Compare(at) })
		if n > 0 {
			last = later(last, minutes[n-1].At.Add(time.Minute))
		}
	}
	return last
}

// How long a break may be that does not end a stretch, and how long one must be to be
// told: of what stands by itself, and of what only spaces doses.
const (
	passedOver = 3 * time.Minute
	// While the interlock stood on, what was wanted came and went.
	passedOverIfStood = time.Hour
	worthWords        = time.Minute
	longWait          = 15 * time.Minute
)

// withheld says why nothing was dosed where something was wanted.
func (l *timeline) withheld(tank string, station *diary.Station) (told []Stretch, waits []Wait) {
	open := map[interlock]int{}
	stood := map[interlock]bool{} // without a break since its last stretch
	var all []Stretch
	for i := range l.tanks[tank] {
		s := &l.tanks[tank][i]
		for k := range stood {
			_, stands := s.stands[k]
			stood[k] = stood[k] && stands
		}
		k, ok := s.root(station)
		if !ok {
			continue
		}
		long, gap := s.to.Sub(s.from), passedOver
		if stood[k] {
			gap = passedOverIfStood
		}
		stood[k] = true
		if n, begun := open[k]; begun && s.from.Sub(all[n].To) <= gap {
			all[n].To, all[n].Held = s.to.In(l.zone), all[n].Held+seconds(long)
			continue
		}
		open[k] = len(all)
		all = append(all, Stretch{From: s.from.In(l.zone), To: s.to.In(l.zone), Held: seconds(long), Cause: k.cause, Pump: k.pump, Text: wordsOf(k, s.stands[k]), Want: s.want})
	}
	spaced := map[string]Seconds{}
	for _, s := range all {
		switch long := s.Held.Duration(); {
		case spaces(s.Cause) && long < longWait:
			spaced[s.Cause] += s.Held
		case long >= worthWords:
			told = append(told, s)
		}
	}
	for cause, held := range spaced {
		waits = append(waits, Wait{Cause: cause, Text: rowOf(cause).Text, Held: held})
	}
	slices.SortFunc(waits, func(a, b Wait) int { return cmp.Or(cmp.Compare(b.Held, a.Held), cmp.Compare(a.Cause, b.Cause)) })
	return withMixing(told), waits
}

// withMixing joins the time in which the water mixes to what it follows: a flood is not
// over for the doses before that.
func withMixing(told []Stretch) (joined []Stretch) {
	slices.SortStableFunc(told, func(a, b Stretch) int { return a.From.Compare(b.From) })
	for _, s := range told {
		n := len(joined) - 1
		if s.Cause == safety.CauseMixingWait.String() && n >= 0 && s.From.Sub(joined[n].To).Abs() < worthWords {
			joined[n].To, joined[n].Held, joined[n].Mixing = s.To, joined[n].Held+s.Held, s.Held
			continue
		}
		joined = append(joined, s)
	}
	return joined
}

// ranThen is a time that ran when something was said, and tells nothing afterwards.
var ranThen = regexp.MustCompile(`(so far|to go|\bin \d+ ?(s|min|h))\)?$`)

// wordsOf are what was said of an interlock when it began, without a time that ran then.
func wordsOf(k interlock, said string) string {
	if said == "" || ranThen.MatchString(said) {
		return rowOf(k.cause).Text
	}
	return said
}

// root is the interlock that kept the wanted dose back.
func (s *segment) root(station *diary.Station) (root interlock, found bool) {
	if s.want == dosing.RoleNone.String() || s.want == "" {
		return root, false
	}
	return s.uppermost(func(k interlock) bool {
		return concerns(k, s.want, station) && (s.want != diary.Unknown || !spaces(k.cause))
	})
}

func (s *segment) uppermost(counts func(interlock) bool) (root interlock, found bool) {
	for k := range s.stands {
		if counts(k) && (!found || precedes(k, root)) {
			root, found = k, true
		}
	}
	return root, found
}

// stood are the interlocks of a tank that stood, whatever was wanted, the uppermost of
// each moment.
func (l *timeline) stood(tank string) (all []Stretch) {
	for i := range l.tanks[tank] {
		s := &l.tanks[tank][i]
		k, found := s.uppermost(func(k interlock) bool { return !spaces(k.cause) })
		if !found {
			continue
		}
		from, to := s.from.In(l.zone), s.to.In(l.zone)
		if n := len(all) - 1; n >= 0 && all[n].Cause == k.cause && all[n].Pump == k.pump && from.Equal(all[n].To) {
			all[n].To, all[n].Held = to, all[n].Held+seconds(to.Sub(from))
			continue
		}
		all = append(all, Stretch{From: from, To: to, Held: seconds(to.Sub(from)), Cause: k.cause, Pump: k.pump, Text: rowOf(k.cause).Text})
	}
	return slices.DeleteFunc(all, func(s Stretch) bool { return s.Held.Duration() < worthWords })
}
