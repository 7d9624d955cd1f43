package alarm

import (
	"time"

	"leat/safety"
)

// evenFor is how long doses must work as commissioned before an alarm of that ends: what
// is learned wavers while water mixes badly, and an alarm must not come and go with it.
const evenFor = 30 * time.Minute

// scale judges whether doses work otherwise than commissioned, and returns what writes how;
// nil when they do not. A service forgets what was answered, and ends it at once.
func (st *standing) scale(s *Situation, up time.Duration) (words func(*Situation) string) {
	known := s.Answered >= safety.AnswersWant
	st.worn = known && (s.LnBuffer > worn || st.worn && s.LnBuffer > worn-wornBack)
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
