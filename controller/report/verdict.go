package report

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"leat/controller/diary"
)

// verdict is the tank's time in a sentence.
func (t *Tank) verdict() string {
	parts := []string{t.bandWords(), t.seldom(), t.doseWords(), holdWords(t.Withheld)}
	var causes []string
	for _, a := range t.Alarms {
		if !slices.Contains(causes, a.Cause) {
			causes = append(causes, a.Cause)
		}
	}
	if n := len(t.Alarms); n > 0 {
		parts = append(parts, Counted(n, "alarm")+": "+strings.Join(causes, ", "))
	}
	if n := len(t.Uncertain); n > 0 {
		parts = append(parts, fmt.Sprintf("%d of uncertain fate", n))
	}
	text := strings.Join(slices.DeleteFunc(parts, func(p string) bool { return p == "" }), "; ")
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

func (t *Tank) bandWords() string {
	pH, ec := t.PH.InBand, t.EC.InBand
	switch {
	case pH == nil && ec == nil:
		return "nothing is known of pH and EC"
	case ec == nil:
		return "pH in band " + Percent(*pH)
	case pH == nil:
		return "EC in band " + Percent(*ec)
	case Percent(*pH) == Percent(*ec):
		return "in band " + Percent(*pH)
	}
	return fmt.Sprintf("in band pH %s, EC %s", Percent(*pH), Percent(*ec))
}

// seldom says how much is known, where that is too little for a share of the whole.
func (t *Tank) seldom() string {
	if known := min(t.PH.Known, t.EC.Known); known < 0.9 && t.PH.InBand != nil && t.EC.InBand != nil {
		return fmt.Sprintf("readings cover only %s of the time", Percent(known))
	}
	return ""
}

// Percent is a share in words. It is whole only where it is so: 99.96 % is not all.
func Percent(share float64) string {
	switch {
	case share < 1 && share > 0.99:
		return fmt.Sprintf("%.1f %%", min(100*share, 99.9))
	case share > 0 && share < 0.01:
		return fmt.Sprintf("%.1f %%", max(100*share, 0.1))
	}
	return fmt.Sprintf("%.0f %%", 100*share)
}

func (t *Tank) doseWords() string {
	ml, count, hand := map[string]float64{}, 0, 0.0
	for _, l := range t.Liquids {
		ml[cmp.Or(l.Role, l.Pump)] += l.ML
		count += l.Count
		hand += l.HandML
	}
	var parts []string
	for _, role := range []string{"acid", "base", "stock"} {
		if v, some := ml[role]; some && v > 0 {
			parts = append(parts, Volume(v)+" "+role)
		}
		delete(ml, role)
	}
	for _, pump := range slices.Sorted(maps.Keys(ml)) {
		parts = append(parts, Volume(ml[pump])+" of "+pump)
	}
	if hand > 0 {
		parts = append(parts, Volume(hand)+" by hand")
	}
	if len(parts) == 0 {
		return "nothing was dosed"
	}
	return strings.Join(parts, ", ") + " in " + Counted(count, "dose")
}

// Counted is a number of things.
func Counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

func holdWords(withheld []Stretch) string {
	times := map[string]int{}
	for _, s := range withheld {
		times[s.Cause]++
	}
	causes := slices.SortedFunc(maps.Keys(times), func(a, b string) int {
		return cmp.Or(times[b]-times[a], cmp.Compare(a, b))
	})
	switch n := len(withheld); {
	case n == 0:
		return "nothing was withheld"
	case n == 1:
		return "1 hold: " + causes[0]
	case len(causes) == 1 && n == 2:
		return "2 holds, both " + causes[0]
	case len(causes) == 1:
		return fmt.Sprintf("%d holds, all %s", n, causes[0])
	default:
		var parts []string
		for _, cause := range causes {
			parts = append(parts, fmt.Sprintf("%d %s", times[cause], cause))
		}
		return fmt.Sprintf("%d holds: %s", n, strings.Join(parts, ", "))
	}
}

// Volume is millilitres with three significant digits.
func Volume(ml float64) string {
	switch {
	case ml >= 999.5:
		return significant(ml/1000) + " L"
	case ml == 0:
		return "0 mL"
	}
	return significant(ml) + " mL"
}

// significant is a number with three digits that count, never in powers of ten.
func significant(v float64) string {
	switch {
	case v >= 99.95:
		return fmt.Sprintf("%.0f", v)
	case v >= 9.995:
		return fmt.Sprintf("%.1f", v)
	case v >= 0.9995:
		return fmt.Sprintf("%.2f", v)
	}
	return fmt.Sprintf("%.3g", v)
}

func (r *Report) verdict(past *diary.Past) string {
	switch {
	case past.Last.IsZero():
		return "The record is empty."
	case !past.Last.After(past.From):
		return fmt.Sprintf("Nothing is known of this time: the record ends at %s.", r.Ends.Format("2006-01-02 15:04"))
	case !past.First.Before(past.To):
		return fmt.Sprintf("Nothing is known of this time: the record begins at %s.", past.First.In(past.Zone).Format("2006-01-02 15:04"))
	case len(r.Tanks) == 1:
		return r.Tanks[0].Verdict
	}
	var parts []string
	for i := range r.Tanks {
		parts = append(parts, r.Tanks[i].Name+": "+strings.TrimSuffix(r.Tanks[i].Verdict, "."))
	}
	if len(parts) == 0 {
		return "Nothing was dosed in this time."
	}
	return strings.Join(parts, " · ") + "."
}
