package store

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"
	"unicode"

	"leat/dosing"
)

// table writes rows as text, CSV (RFC 4180) or one JSON array of objects. Cells
// are string, uint64, float64, bool, dosing.Volume (in mL), time.Time (RFC 3339,
// UTC), json.RawMessage, or nil for an empty one.
type table struct {
	out     *bufio.Writer
	csv     *csv.Writer
	text    *tabwriter.Writer
	columns []string
	rows    int
}

func newTable(w io.Writer, format string) (*table, error) {
	t := &table{out: bufio.NewWriter(w)}
	switch format {
	case "json":
	case "csv":
		t.csv = csv.NewWriter(t.out)
	case "text":
		t.text = tabwriter.NewWriter(t.out, 0, 0, 2, ' ', 0)
	default:
		return nil, fmt.Errorf("format %q: want text, csv or json", format)
	}
	return t, nil
}

func (t *table) begin(columns ...string) error {
	t.columns = columns
	switch {
	case t.csv != nil:
		return t.csv.Write(columns)
	case t.text != nil:
		_, err := fmt.Fprintln(t.text, strings.Join(columns, "\t"))
		return err
	}
	_, err := t.out.WriteString("[")
	return err
}

// textFlush is after how many rows the columns of a text are set anew, so that
// years of readings are not gathered in memory.
const textFlush = 1000

func (t *table) row(cells ...any) error {
	t.rows++
	if t.csv == nil && t.text == nil {
		return t.object(cells)
	}
	line := make([]string, len(cells))
	for i, cell := range cells {
		line[i] = plain(cell)
	}
	if t.csv != nil {
		return t.csv.Write(line)
	}
	for i := range line {
		// Text is for eyes; whoever computes takes CSV or JSON, which hold every digit.
		if v, ok := cells[i].(float64); ok {
			line[i] = strconv.FormatFloat(v, 'g', 5, 64)
		}
		line[i] = visible(line[i])
	}
	if _, err := fmt.Fprintln(t.text, strings.Join(line, "\t")); err != nil {
		return err
	}
	if t.rows%textFlush == 0 {
		return t.text.Flush()
	}
	return nil
}

func (t *table) object(cells []any) error {
	separator := ",\n "
	if t.rows == 1 {
		separator = "\n "
	}
	if _, err := t.out.WriteString(separator + "{"); err != nil {
		return err
	}
	for i, cell := range cells {
		value, err := json.Marshal(jsonCell(cell))
		if err != nil {
			return fmt.Errorf("%s: %w", t.columns[i], err)
		}
		comma := ","
		if i == 0 {
			comma = ""
		}
		if _, err := fmt.Fprintf(t.out, "%s%q:%s", comma, t.columns[i], value); err != nil {
			return err
		}
	}
	_, err := t.out.WriteString("}")
	return err
}

func (t *table) end() error {
	switch {
	case t.csv != nil:
		t.csv.Flush()
		if err := t.csv.Error(); err != nil {
			return err
		}
	case t.text != nil:
		if err := t.text.Flush(); err != nil {
			return err
		}
	default:
		if _, err := t.out.WriteString("\n]\n"); err != nil {
			return err
		}
	}
	return t.out.Flush()
}

func plain(cell any) string {
	switch v := cell.(type) {
	case nil:
		return ""
	case string:
		return v
	case float64:
		return strconv.FormatFloat(v, 'g', -1, 64)
	case dosing.Volume:
		return strings.TrimSuffix(v.String(), " mL")
	case time.Time:
		return v.UTC().Format(time.RFC3339Nano)
	}
	return fmt.Sprint(cell)
}

func jsonCell(cell any) any {
	switch v := cell.(type) {
	case dosing.Volume:
		return json.RawMessage(plain(v))
	case time.Time:
		return plain(v)
	case float64:
		if v != v {
			return nil
		}
	}
	return cell
}

// visible keeps what strangers typed from moving the cursor or the columns.
func visible(text string) string {
	if text == "" {
		return "-"
	}
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return unicode.ReplacementChar
	}, text)
}
