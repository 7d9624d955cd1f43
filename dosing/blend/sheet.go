package blend

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
)

// Entry is one line of a recipe, a water or an analysis: what, how much, and how
// strictly.
type Entry struct {
	Line   int // 0 on the command line
	What   string
	Amount float64
	Unit   string
	Weight float64 // 1 where not stated
	Most   float64 // never above, in the same unit; below zero where not stated
}

// largestSheet bounds what is read; a recipe has some twenty lines.
const largestSheet = 1 << 16

// ReadSheet reads a sheet: comma-separated lines under a header that names the
// columns what, amount, unit and, if wanted, weight and never_above. Lines that
// begin with # are remarks. Faults are *Fault.
func ReadSheet(text string) ([]Entry, error) {
	var all []Entry
	err := eachRow(text, []string{"what", "amount", "unit"}, []string{"weight", "never_above"}, func(line int, row map[string]string) error {
		e := Entry{Line: line, What: row["what"], Unit: row["unit"], Weight: 1, Most: -1}
		var err error
		if row["amount"] == "" && row["never_above"] != "" {
			e.Weight = 0 // only a limit
		} else if e.Amount, err = decimal(row["amount"]); err != nil {
			return &Fault{line, e.What, err.Error(), "for example Ca,160,mg/L"}
		}
		if row["weight"] != "" {
			if e.Weight, err = decimal(row["weight"]); err != nil || e.Weight > 100 {
				return &Fault{line, e.What, "has a weight that is none", "1 is usual, 2 counts double, 0 is only shown"}
			}
		}
		if row["never_above"] != "" {
			if e.Most, err = decimal(row["never_above"]); err != nil {
				return &Fault{line, e.What, "has a never_above that is no amount", "write it in the unit of the line"}
			}
		}
		all = append(all, e)
		return nil
	})
	return all, err
}

// eachRow reads a small table with a header, column by name.
func eachRow(text string, need, may []string, do func(line int, row map[string]string) error) error {
	if len(text) > largestSheet {
		return &Fault{0, "", "is larger than 64 KiB", "such a sheet has some tens of lines"}
	}
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(text, "\ufeff")))
	r.Comment, r.TrimLeadingSpace, r.FieldsPerRecord = '#', true, -1
	var header []string
	for {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return &Fault{0, "", err.Error(), "write comma-separated lines, with a decimal point"}
		}
		line, _ := r.FieldPos(0)
		if header == nil {
			if header, err = readHeader(line, record, need, may); err != nil {
				return err
			}
			continue
		}
		if len(record) > len(header) {
			return &Fault{line, record[0], fmt.Sprintf("has %d fields under a header of %d", len(record), len(header)), "a decimal comma looks like a second field: write a decimal point"}
		}
		row := map[string]string{}
		for i, value := range record {
			row[header[i]] = strings.TrimSpace(value)
		}
		if row[need[0]] == "" {
			return &Fault{line, "", "begins with an empty field", "every line begins with its " + need[0]}
		}
		if err := do(line, row); err != nil {
			return err
		}
	}
	if header == nil {
		return &Fault{0, "", "is empty", "begin with the header " + strings.Join(need, ",")}
	}
	return nil
}

func readHeader(line int, record, need, may []string) ([]string, error) {
	seen := map[string]bool{}
	header := make([]string, len(record))
	for i, name := range record {
		name = strings.ReplaceAll(strings.ToLower(strings.TrimSpace(name)), " ", "_")
		ok := false
		for _, n := range append(append([]string{}, need...), may...) {
			ok = ok || n == name
		}
		if !ok || seen[name] {
			return nil, &Fault{line, name, "is no column of this sheet, or stands twice", "the header is " + strings.Join(need, ",") + optional(may)}
		}
		seen[name], header[i] = true, name
	}
	for _, n := range need {
		if !seen[n] {
			return nil, &Fault{line, n, "is missing among the columns", "the header is " + strings.Join(need, ",") + optional(may)}
		}
	}
	return header, nil
}

func optional(may []string) string {
	if len(may) == 0 {
		return ""
	}
	return ", with " + strings.Join(may, ",") + " if wanted"
}

// ReadList reads the short form of a sheet for a command line: "Ca=61 mg/L,
// HCO3=180 mg/L, pH=7.4".
func ReadList(text string) ([]Entry, error) {
	if len(text) > largestSheet {
		return nil, &Fault{0, "", "is larger than 64 KiB", "write a file instead"}
	}
	var all []Entry
	for _, word := range strings.Split(text, ",") {
		word = strings.TrimSpace(word)
		if word == "" {
			continue
		}
		name, value, found := strings.Cut(word, "=")
		value = strings.TrimSpace(value)
		if !found || value == "" {
			return nil, &Fault{0, word, "is not WHAT=AMOUNT UNIT", "for example Ca=61 mg/L"}
		}
		end := 0
		for end < len(value) && strings.IndexByte("0123456789.+-", value[end]) >= 0 {
			end++
		}
		amount, err := decimal(value[:end])
		if err != nil {
			return nil, &Fault{0, word, err.Error(), "for example Ca=61 mg/L"}
		}
		all = append(all, Entry{What: strings.TrimSpace(name), Amount: amount, Unit: strings.TrimSpace(value[end:]), Weight: 1, Most: -1})
	}
	if len(all) == 0 {
		return nil, &Fault{0, "", "is empty", "for example Ca=61 mg/L, HCO3=180 mg/L"}
	}
	return all, nil
}
