package alarm

import (
	"time"

	"leat/safety/response"
)

// evenFor is how long doses must work as commissioned before an alarm of that ends: what
// is learned wavers while water mixes badly, and an alarm must not come and go with it.
const evenFor = 30 * time.Minute

// usualIn is for how long doses must have been answered, in water whose buffer nobody measured,
// until what they then do is what they usually do there.
const usualIn = 24 * time.Hour

// usualMost is the most of it that is usual: water that buffers three times what was commissioned
// is told all the same.
const usualMost = 0.6

// learn notes what doses usually do. A buffer that was only commissioned may be wrong by three:
// that acid does half of what was reckoned is what the loop learns and the page shows, and
// nobody need act on it. That it does less than it did is another thing.
func (st *standing) learn(s *Situation, known bool, up time.Duration) {
	switch learning := st.learning.Run(known && !s.Measured, up); {
	case !known || s.Measured:
		st.usual = 0
	case learning < usualIn:
		st.usual = min(max(st.usual, s.LnBuffer), usualMost)
	}
}

// scale judges whether doses work otherwise than commissioned, and returns what writes how;
// nil when they do not. A service forgets what was answered, and ends it at once.
func (st *standing) scale(s *Situation, up time.Duration) (words func(*Situation) string) {
	known := s.Answered >= response.AnswersWant
	st.learn(s, known, up)
	more := s.LnBuffer - st.usual
	st.worn = known && (more > worn || st.worn && more > worn-wornBack)
	st.early = known && (s.early(0) || st.early && s.early(wornBack))
	st.thin = known && s.thin(st.thin)
	is := st.worn || st.early || st.thin
	even := st.even.Run(known && !is, up)
	st.scaled = known && (is || st.scaled && even < evenFor)
	switch {
	case !st.scaled:
		return nil
	case st.thin:
		return (*Situation).lost
	case st.early:
		return (*Situation).rich
	}
	return (*Situation).weak
}
