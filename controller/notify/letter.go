package notify

import (
	"encoding/json"
	"fmt"
	"net/url"
	"strings"
	"time"

	"leat/safety"
)

// Event is why a letter is written.
type Event uint8

// What a letter tells.
const (
	Raised Event = iota // an alarm came, or became more urgent
	Again               // and nobody has acknowledged it
	Over                // the daemon itself says that it is over
	Test                // a person tries whether the phone rings
)

func (e Event) String() string { return [...]string{"raised", "again", "over", "test"}[min(e, Test)] }

// Of is one tank that a letter is about.
type Of struct {
	Tank        string    `json:"tank"`
	Text        string    `json:"text"`
	Since       time.Time `json:"since"`
	Page        string    `json:"page,omitempty"`
	Acknowledge string    `json:"acknowledge,omitempty"` // link: GET shows, POST acknowledges

	ring string
}

// Letter is what is told: one cause of one station, with each tank that has it.
type Letter struct {
	ID       string
	Event    Event
	Station  string
	At       time.Time
	Cause    string
	Priority safety.Priority
	Advice   string
	Tanks    []Of

	row   string // the row's own words
	tries int
	next  time.Time
	born  time.Time
}

func (l *Letter) add(r *ring) {
	l.Tanks = append(l.Tanks, Of{Tank: r.Tank, Text: r.view.Text, Since: r.view.Since.Wall, ring: r.ID})
}

// link adds where the page shows each alarm and where it is acknowledged.
func (l *Letter) link(page string, pass func(ring string) string) {
	if page == "" {
		return
	}
	for i := range l.Tanks {
		t := &l.Tanks[i]
		t.Page = page + "/alarm/" + url.PathEscape(t.Tank) + "/" + l.Cause
		if l.Event == Raised || l.Event == Again {
			t.Acknowledge = page + "/acknowledge/" + pass(t.ring)
		}
	}
}

// JSON is the letter as a webhook gets it.
func (l *Letter) JSON() ([]byte, error) {
	return json.Marshal(struct {
		ID       string    `json:"id"`
		Event    string    `json:"event"`
		Station  string    `json:"station"`
		At       time.Time `json:"at"`
		Cause    string    `json:"cause"`
		Priority string    `json:"priority"`
		Code     string    `json:"code"`
		Summary  string    `json:"summary"`
		Advice   string    `json:"advice"`
		Tanks    []Of      `json:"tanks"`
	}{l.ID, l.Event.String(), l.Station, l.At, l.Cause, l.Priority.String(), l.Priority.Code(), l.Summary(), l.Advice, l.Tanks})
}

// Summary is the letter in one line: where, how urgent, what.
func (l *Letter) Summary() string {
	var tanks []string
	for _, t := range l.Tanks {
		tanks = append(tanks, t.Tank)
	}
	who, text := strings.Join(tanks, ", "), l.row
	if len(l.Tanks) == 1 && l.Event != Over {
		text = l.Tanks[0].Text
	}
	switch l.Event {
	case Again:
		return fmt.Sprintf("%s, %s: nobody has acknowledged: %s", who, l.Priority, text)
	case Over:
		return fmt.Sprintf("%s: over, says the daemon. It was: %s", who, text)
	case Test:
		return "This is a test of " + l.Station + ": had it been a leak, you would read it here."
	}
	return fmt.Sprintf("%s, %s: %s", who, l.Priority, text)
}

// Words are the letter as a mail's text.
func (l *Letter) Words() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n\n%s\n", l.Summary(), l.does())
	for _, t := range l.Tanks {
		fmt.Fprintf(&b, "\n%s, since %s: %s\n", t.Tank, t.Since.Format("Mon 2 Jan 15:04 MST"), t.Text)
		if t.Page != "" {
			fmt.Fprintf(&b, "Look: %s\n", t.Page)
		}
		if t.Acknowledge != "" {
			fmt.Fprintf(&b, "Acknowledge: %s\n", t.Acknowledge)
		}
	}
	if l.Event == Raised || l.Event == Again {
		fmt.Fprintf(&b, "\nTo acknowledge stops the calls. It lifts nothing and starts no pump.\nRunbook: section %s of deploy/RUNBOOK.md\n", l.Cause)
	}
	return b.String()
}

// does is what to do now.
func (l *Letter) does() string {
	if l.Event == Over {
		return "Acknowledge it on the page if nobody has; find out why it came."
	}
	return l.Advice
}
