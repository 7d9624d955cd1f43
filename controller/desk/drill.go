package desk

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"strings"
	"time"

	"leat/controller"
	"leat/controller/app"
	"leat/controller/config"
)

// Drill leads a person once a month through what must ring, and looks at the daemon whether
// what they did has arrived.
type Drill struct {
	Series func() map[string]float64 // of the daemon's metrics; nil = it does not answer
	Wait   func()                    // before it looks again
	Now    func() time.Time
	Note   func(form url.Values) (answer controller.Answer, err error) // writes into the record

	in    *bufio.Scanner
	out   io.Writer
	wrong []string
	said  []string
}

// exercise is one step: what to do, what the daemon then shows, what the person is asked.
type exercise struct {
	name, do, seen, asked string
	shows                 func(map[string]float64) bool
}

// How long a person has for a step, and the daemon to show it.
const stepLasts = 10 * time.Minute

var errDrillLeft = errors.New("the drill was left: nothing of it is noted")

// alarms counts the daemon's alarms of a cause with a value of the metric that is wanted.
func alarms(series map[string]float64, metric, cause string, wanted func(float64) bool) (n int) {
	for name, value := range series {
		if strings.HasPrefix(name, metric+"{") && strings.Contains(name, `cause="`+cause+`"`) && wanted(value) {
			n++
		}
	}
	return n
}

func answers(series map[string]float64) bool { return series != nil }

// exercises are the drill, in order. Each is of the alarm of a leak or of the daemon itself:
// nothing is dosed by any.
var exercises = []exercise{
	{"leak", "Wet the leak sensor of a tank, or pull its plug.", "the daemon sees the leak", "Did the phone ring, and did it say what to do?",
		func(s map[string]float64) bool {
			return alarms(s, "leat_alarm_priority", "leak", func(v float64) bool { return v == 1 }) > 0
		}},
	{"acknowledged", "Acknowledge the alarm: by the link that came, or on the page.", "the daemon knows of it", "",
		func(s map[string]float64) bool {
			return s != nil && alarms(s, "leat_alarm_state", "leak", func(v float64) bool { return v == 1 }) == 0
		}},
	{"cleared", "Dry the sensor, wait half a minute, then clear the stop on the page.", "the leak is over", "",
		func(s map[string]float64) bool {
			return s != nil && alarms(s, "leat_alarm_priority", "leak", func(v float64) bool { return v > 0 }) == 0
		}},
	{"daemon", "Stop the daemon: systemctl stop leat. Leave it so until you are called.", "the daemon is gone", "Were you called within five minutes?",
		func(s map[string]float64) bool { return s == nil }},
	{"started", "Start the daemon: systemctl start leat.", "the daemon answers", "", answers},
	{"dead-man", "Stop Prometheus, or whatever watches the daemon, for as long as its dead-man waits; then start it.", "", "Did the dead-man call?", nil},
	{"backup", "Restore last night's backup into an empty folder, and verify it: leat ledger -state EMPTY restore FILE, then leat ledger -state EMPTY verify.", "", "Did it verify?", nil},
}

// Guide leads through the drill. What did not ring is an error that names it.
func (d *Drill) Guide(in io.Reader, out io.Writer) error {
	d.in, d.out = bufio.NewScanner(in), out
	fmt.Fprint(out, "A drill. Nothing is dosed by it; a stop by a leak holds the doses until you clear it. Empty answers count as no.\n")
	for i := range exercises {
		if err := d.step(i+1, &exercises[i]); err != nil {
			return err
		}
	}
	note := "drill: " + strings.Join(d.said, ", ")
	answer, err := d.Note(url.Values{"do": {controller.RequestMark.String()}, "note": {note}})
	if err == nil && !answer.Accepted {
		err = errors.New(answer.Text)
	}
	if err != nil {
		fmt.Fprintf(out, "Write it down yourself, the daemon did not: %s (%v)\n", note, err)
	}
	if len(d.wrong) > 0 {
		return fmt.Errorf("mend before the evening: %s", strings.Join(d.wrong, ", "))
	}
	fmt.Fprintln(out, "All rang. Until next month.")
	return nil
}

func (d *Drill) step(number int, e *exercise) error {
	fmt.Fprintf(d.out, "\n%d. %s\n", number, e.do)
	if e.shows != nil {
		began := d.Now()
		for !e.shows(d.Series()) {
			if d.Now().Sub(began) > stepLasts {
				d.result(e, false, "not seen")
				fmt.Fprintf(d.out, "   Not so within %s: %s.\n", stepLasts, e.seen)
				return nil
			}
			d.Wait()
		}
		fmt.Fprintf(d.out, "   After %s %s.\n", d.Now().Sub(began).Round(time.Second), e.seen)
	}
	if e.asked == "" {
		if e.shows != nil {
			d.result(e, true, "yes")
		}
		return nil
	}
	fmt.Fprintf(d.out, "   %s (yes or no, x leaves the drill): ", e.asked)
	if !d.in.Scan() {
		fmt.Fprintln(d.out)
		return errDrillLeft
	}
	answer := strings.ToLower(strings.TrimSpace(d.in.Text()))
	if answer == "x" {
		return errDrillLeft
	}
	yes := strings.HasPrefix(answer, "y")
	d.result(e, yes, map[bool]string{true: "yes", false: "no"}[yes])
	return nil
}

func (d *Drill) result(e *exercise, good bool, word string) {
	d.said = append(d.said, e.name+" "+word)
	if !good {
		d.wrong = append(d.wrong, e.name)
	}
}

// RunDrill is the drill of a configuration's daemon.
func RunDrill(ctx context.Context, path string, in io.Reader, out io.Writer) error {
	file, err := config.Look(path)
	if err != nil {
		return err
	}
	folder, tank := file.State, file.Settings.Safety.Tanks[0].Name
	d := &Drill{Now: time.Now,
		Series: func() map[string]float64 {
			p := &patient{file: file}
			p.daemon(ctx)
			return p.series
		},
		Wait: func() {
			select {
			case <-ctx.Done():
			case <-time.After(2 * time.Second):
			}
		},
		Note: func(form url.Values) (controller.Answer, error) {
			form.Set("tank", tank)
			form.Set("by", WhoAmI())
			return app.Ask(folder, form)
		}}
	if d.Series() == nil {
		return errors.New("the daemon does not answer: start it, then begin the drill")
	}
	return d.Guide(in, out)
}
