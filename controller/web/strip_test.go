package web

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"leat/controller"
)

func TestTheStripShowsReadingsSetpointDosesAndInterlocksWithTheirFigures(t *testing.T) {
	to := sampleView().At.Wall
	nights, _ := sampleNight(to.Add(-nightHours), to)
	s := draw(nights["north"])
	pH := s.Plots[0]
	if n := strings.Count(pH.Line, "M"); n != 2 {
		t.Errorf("the line has %d pieces, want one before the gap and one after it", n)
	}
	if want := "M34 82.2h163V65.4h163"; pH.Set != want { // 5.6 at the foot, 6.6 at the top
		t.Errorf("the setpoint as it was is %s, want %s", pH.Set, want)
	}
	if n := strings.Count(pH.Band, "M"); n != 2 || len(pH.Ticks) < 2 || len(pH.Shades) != 3 {
		t.Errorf("%d bands, values %v, %d shades", n, pH.Ticks, len(pH.Shades))
	}
	if s.Plots[1].Words != "no reading in these hours" || s.Plots[1].Line != "" {
		t.Errorf("EC, of which nothing is known: %+v", s.Plots[1])
	}
	var words []string
	for _, l := range s.Lanes {
		words = append(words, l.Mark+" "+l.Words)
	}
	want := []string{"▼ acid-north · nitric acid 38 %: 126 mL, 40 doses, 1 unsure", "● calcium · calcium nitrate: 12.2 mL, 1 dose", "▬ ph-stale: 1 h 0 min, 1 time", "▬ flood: 40 min, 2 times"}
	if strings.Join(words, "\n") != strings.Join(want, "\n") {
		t.Errorf("lanes:\n%s", strings.Join(words, "\n"))
	}
	if n := strings.Count(s.Lanes[0].Ticks, "M"); n != 39 || strings.Count(s.Lanes[0].Doubted, "M") != 1 {
		t.Errorf("%d sure ticks of acid", n)
	}
	row := s.Rows[2] // from 11:00; the strip begins at 09:30
	if row.Hour != "11:00" || row.PH != "6.48 (5.80)" || row.EC != "–" || row.Held != "flood" || !strings.HasPrefix(row.Doses, "acid-north 12.6 mL") {
		t.Errorf("the table says %+v", row)
	}
}

func TestAProbeGoneAstrayAndAnEmptyNightAreDrawnAllTheSame(t *testing.T) {
	at := sampleView().At.Wall
	line := Trace{Band: 0.1, Set: []Point{{at, 5.8}}, Line: []Point{{at, 5.8}, {at, 14}}}
	if low, high, _ := scaleOf(&line); high > 10.1 || low > 5.6+1e-9 {
		t.Errorf("an unplugged probe stretches the plot from %g to %g", low, high)
	}
	for _, empty := range []*Night{{From: at.Add(-nightHours), To: at}, {From: at.Add(-nightHours), To: at, PH: Trace{Line: []Point{{at, 5.8}}}}} {
		if s := draw(empty); len(s.Plots) != 2 || strings.Contains(s.Plots[0].Line+s.High, "NaN") || strings.Contains(s.Plots[0].Line, "Inf") {
			t.Errorf("drawn %+v", s)
		}
	}
	if low, high, steps := scaleOf(&Trace{Line: []Point{{at, 5.8}}}); math.IsInf(low, 0) || !(high > low) || len(steps) == 0 {
		t.Errorf("one reading without a setpoint spans %g to %g", low, high)
	}
}

func TestAHistoryThatCannotBeReadIsSaidOnThePage(t *testing.T) {
	h := newHouse(t, func(o *Options) {
		o.Night = func(time.Time, time.Time) (map[string]*Night, error) { return nil, errors.New("disk I/O error") }
	})
	b := h.browser(t)
	b.signIn("mara", password)
	_, page := b.get("/tank/north")
	want(t, page, "the history cannot be read: disk I/O error")
}

func TestTheStripIsReadOnAPhoneAndHasATwinInATable(t *testing.T) {
	h := newHouse(t)
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleView)))
	do(t, ctx, chromedp.Navigate(h.Address()+"/tank/north"))
	if small := ask[string](t, ctx, `[...document.querySelectorAll(".strip text")].filter(e => e.getBoundingClientRect().height < 10 || e.getBoundingClientRect().right > 391).map(e => e.textContent).join("; ")`); small != "" {
		t.Errorf("too small or cut off: %s", small)
	}
	if cells := ask[int](t, ctx, `document.querySelector("#hours").closest("details").open = true, [...document.querySelectorAll("#hours td")].filter(e => e.checkVisibility()).length`); cells < 48 {
		t.Errorf("the table has %d cells", cells)
	}
	if wide := ask[int](t, ctx, "document.documentElement.scrollWidth"); wide > 390 {
		t.Errorf("the table makes the page %d px wide", wide)
	}
}
