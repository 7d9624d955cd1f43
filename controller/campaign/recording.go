package campaign

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"leat/controller/payload"
	"leat/dosing"
)

// Recording is what was logged of one tank: rows in order of time, each with the text
// that a probe sent, or none.
type Recording struct {
	columns []recordedColumn
	rows    []recordedRow
}

type recordedColumn struct {
	quantity dosing.Quantity
	format   payload.Format
}

type recordedRow struct {
	at    time.Time
	line  int
	cells []string // by column; empty = nothing was sent
}

// RecordingError says what is wrong with a recording, where, and what to do.
type RecordingError struct {
	Line       int // 0 = of the whole file
	Text, Hint string
}

func (e *RecordingError) Error() string {
	if e.Line > 0 {
		return fmt.Sprintf("line %d: %s; %s", e.Line, e.Text, e.Hint)
	}
	return e.Text + "; " + e.Hint
}

const (
	recordingMost     = 400 * 24 * time.Hour // a longer one would be played for hours
	recordingMostRows = 5_000_000
	recordingHeader   = "name the columns in the first line, for example: time,ph,ec,temperature,level; a unit may stand behind a name, as in ec µS/cm"
)

// recordedQuantities are what a recording may hold beside its time.
var recordedQuantities = []dosing.Quantity{dosing.QuantityPH, dosing.QuantityEC, dosing.QuantityTemperature, dosing.QuantityLevel}

// ReadRecording reads a recording in CSV: a header, then a row for each moment. What
// stands in a cell is not judged here: a probe may send anything.
func ReadRecording(from io.Reader) (*Recording, error) {
	in := bufio.NewReader(from)
	if mark, _ := in.Peek(3); bytes.Equal(mark, []byte("\ufeff")) {
		_, _ = in.Discard(3)
	}
	lines := csv.NewReader(in)
	lines.Comma, lines.FieldsPerRecord, lines.TrimLeadingSpace = delimiter(in), -1, true
	header, err := lines.Read()
	if errors.Is(err, io.EOF) {
		return nil, &RecordingError{Text: "the file is empty", Hint: recordingHeader}
	}
	if err != nil {
		return nil, asRecordingError(err)
	}
	r, clock := &Recording{}, -1
	for i, name := range header {
		if name = strings.TrimSpace(name); strings.EqualFold(name, "time") && clock < 0 {
			clock = i
			r.columns = append(r.columns, recordedColumn{})
			continue
		}
		column, err := r.column(name)
		if err != nil {
			return nil, err
		}
		r.columns = append(r.columns, column)
	}
	if clock < 0 || len(r.columns) < 2 {
		return nil, &RecordingError{Line: 1, Text: "there is no column time, or nothing beside it", Hint: recordingHeader}
	}
	for {
		cells, err := lines.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, asRecordingError(err)
		}
		line, _ := lines.FieldPos(0)
		if err := r.add(line, clock, cells); err != nil {
			return nil, err
		}
	}
	if len(r.rows) < 2 {
		return nil, &RecordingError{Text: fmt.Sprintf("%d rows are no recording", len(r.rows)), Hint: "give at least two below the header"}
	}
	return r, nil
}

// delimiter is what stands between the cells of the first line.
func delimiter(in *bufio.Reader) rune {
	first, _ := in.Peek(512)
	first, _, _ = bytes.Cut(first, []byte("\n"))
	for _, c := range []rune{';', '\t'} {
		if bytes.ContainsRune(first, c) {
			return c
		}
	}
	return ','
}

func asRecordingError(err error) error {
	var bad *csv.ParseError
	if errors.As(err, &bad) {
		return &RecordingError{Line: bad.Line, Text: bad.Err.Error(), Hint: "look at its quotation marks"}
	}
	return fmt.Errorf("the recording cannot be read: %w", err)
}

// column finds what a column holds and in which unit.
func (r *Recording) column(name string) (recordedColumn, error) {
	word, unit, _ := strings.Cut(name, " ")
	unit = strings.Trim(strings.TrimSpace(unit), "[]()")
	for _, q := range recordedQuantities {
		if !strings.EqualFold(word, q.String()) {
			continue
		}
		if r.has(q) {
			return recordedColumn{}, &RecordingError{Line: 1, Text: fmt.Sprintf("column %s stands twice", q), Hint: "leave one out: a recording is of one tank"}
		}
		if unit == "" {
			unit = q.Unit()
		}
		known, err := payload.ParseUnit(q, unit)
		if err != nil {
			return recordedColumn{}, &RecordingError{Line: 1, Text: fmt.Sprintf("column %q: %v", name, err), Hint: recordingHeader}
		}
		return recordedColumn{quantity: q, format: payload.Format{Kind: payload.KindPlain, Unit: known}}, nil
	}
	return recordedColumn{}, &RecordingError{Line: 1, Text: fmt.Sprintf("column %q is none of time, ph, ec, temperature, level", name), Hint: recordingHeader}
}

func (r *Recording) has(q dosing.Quantity) bool {
	return slices.ContainsFunc(r.columns, func(c recordedColumn) bool { return c.quantity == q })
}

func (r *Recording) add(line, clock int, cells []string) error {
	if len(cells) != len(r.columns) {
		return &RecordingError{Line: line, Text: fmt.Sprintf("%d cells where the header names %d", len(cells), len(r.columns)), Hint: "write decimals with a point, and leave a cell empty where nothing was sent"}
	}
	at, err := recordedTime(strings.TrimSpace(cells[clock]))
	if err != nil {
		return &RecordingError{Line: line, Text: fmt.Sprintf("%q is no time", cells[clock]), Hint: "write 2026-03-01 18:05:00, with a zone or without, or seconds since 1970"}
	}
	if n := len(r.rows); n > 0 {
		switch before := &r.rows[n-1]; {
		case !at.After(before.at):
			return &RecordingError{Line: line, Text: fmt.Sprintf("its time, %s, is not after that of line %d", cells[clock], before.line), Hint: "sort the rows, one a moment, in a zone without summer time"}
		case at.Sub(r.rows[0].at) > recordingMost:
			return &RecordingError{Line: line, Text: fmt.Sprintf("it lies more than %.0f days after the first", recordingMost.Hours()/24), Hint: "split the recording"}
		case n >= recordingMostRows:
			return &RecordingError{Line: line, Text: fmt.Sprintf("more than %d rows", recordingMostRows), Hint: "split the recording"}
		}
	}
	r.rows = append(r.rows, recordedRow{at: at, line: line, cells: slices.Clone(cells)})
	return nil
}

func recordedTime(text string) (time.Time, error) {
	for _, layout := range []string{time.RFC3339, time.DateTime, "2006-01-02T15:04:05", "2006-01-02 15:04", "2006-01-02T15:04"} {
		if at, err := time.Parse(layout, text); err == nil {
			return at, nil
		}
	}
	seconds, err := strconv.ParseInt(text, 10, 48)
	return time.Unix(seconds, 0).UTC(), err
}

// interval is the time from one row to the next, most often.
func (r *Recording) interval() time.Duration {
	gaps := make([]time.Duration, 0, len(r.rows))
	for i := 1; i < len(r.rows); i++ {
		gaps = append(gaps, r.rows[i].at.Sub(r.rows[i-1].at))
	}
	slices.Sort(gaps)
	return gaps[len(gaps)/2]
}
