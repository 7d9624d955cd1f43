package ratio

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"leat/dosing/blend"
)

// recordVersion tells a record of this form from a later one.
const recordVersion = "ions-1"

// rows are the state's contents in the order of the record.
func (s *state) rows() []*blend.Content {
	return []*blend.Content{&s.content, &s.appetite, &s.cc, &s.ca, &s.aa, &s.off, &s.acid, &s.base, &s.water, &s.taken, &s.stock, &s.before}
}

// Record is the account as one line of text, which Restore reads: some 1.3 kB,
// four digits of each figure.
func (s *state) Record() string {
	var b strings.Builder
	b.WriteString(recordVersion)
	number := func(v float64) {
		if v != 0 {
			b.WriteString(strconv.FormatFloat(v, 'g', 4, 64))
		}
	}
	for _, c := range s.rows() {
		b.WriteByte(';')
		for s := blend.NO3; s < blend.Carbon; s++ {
			if s > 0 {
				b.WriteByte(',')
			}
			number(c[s])
		}
	}
	for _, v := range []float64{s.rest, s.meq, s.uptake, s.scale} {
		b.WriteByte(';')
		number(v)
	}
	b.WriteByte(';')
	if !s.analysed.IsZero() {
		b.WriteString(strconv.FormatInt(s.analysed.Unix(), 10))
	}
	return b.String()
}

// Restore brings an account back from its record; an error leaves it as it was.
func (t *Tank) Restore(record string) error {
	s, err := parseState(record)
	if err != nil {
		return err
	}
	t.state = s
	t.marks, t.solved, t.seen = nil, solvedAt{}, false
	return nil
}

// Mark adds an estimate of an earlier run, by its record, so that a sample taken
// before a restart finds its moment. Marks come in order of time.
func (t *Tank) Mark(record string, up time.Duration) {
	if s, err := parseState(record); err == nil && len(t.marks) < marksKept {
		t.marks = append(t.marks, mark{up, s.content})
	}
}

func parseState(record string) (s state, err error) {
	parts := strings.Split(record, ";")
	rows := s.rows()
	if len(parts) != len(rows)+6 || parts[0] != recordVersion {
		return s, fmt.Errorf("record of the ions %.20q: not of the form %s", record, recordVersion)
	}
	for i, row := range rows {
		values := strings.Split(parts[i+1], ",")
		if len(values) != int(blend.Carbon) {
			return s, fmt.Errorf("record of the ions: row %d has %d figures, want %d", i+1, len(values), int(blend.Carbon))
		}
		for k, text := range values {
			if row[k], err = figure(text); err != nil {
				return s, err
			}
		}
	}
	rest := parts[len(rows)+1:]
	for i, to := range []*float64{&s.rest, &s.meq, &s.uptake, &s.scale} {
		if *to, err = figure(rest[i]); err != nil {
			return s, err
		}
	}
	if rest[4] != "" {
		seconds, err := strconv.ParseInt(rest[4], 10, 64)
		if err != nil {
			return s, fmt.Errorf("record of the ions: time of the analysis: %w", err)
		}
		s.analysed = time.Unix(seconds, 0).UTC()
	}
	if !(s.scale >= 0.5 && s.scale <= 2) {
		return s, fmt.Errorf("record of the ions: EC scale %v", s.scale)
	}
	for k := range s.content {
		if s.content[k] < 0 || s.cc[k] < 0 || s.aa[k] < 0 || s.off[k] < 0 || s.appetite[k] < 0 {
			return s, fmt.Errorf("record of the ions: an amount of %s below zero", blend.Substance(k))
		}
	}
	s.started = true
	return s, nil
}

// largestFigure is beyond any amount in a litre.
const largestFigure = 1e5

func figure(text string) (float64, error) {
	if text == "" {
		return 0, nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(math.Abs(v) <= largestFigure) {
		return 0, fmt.Errorf("record of the ions: %.20q is no figure", text)
	}
	return v, nil
}
