package desk

import (
	"errors"
	"fmt"
	"io"
	"os"

	"leat/dosing/chem/solution"
)

// Solution is what leat solution is asked.
type Solution struct {
	solution.Question
	JSON                 bool
	Cases, Temp, PH, CO2 string
	Additions            []string
}

// Read reads what the words and flags hold.
func (a *Solution) Read(ions []string) (err error) {
	if a.Cases != "" {
		if len(ions) > 0 {
			return fmt.Errorf("-cases takes its ions from the file, not %q", ions[0])
		}
		return nil
	}
	if len(ions) == 0 && len(a.Additions) == 0 {
		return errors.New("no ions given, for example NO3=7.5 K=3 Ca=2.5")
	}
	if a.Totals, err = solution.ReadIons(ions); err != nil {
		return err
	}
	for _, text := range a.Additions {
		added, err := solution.ReadAdditions(text)
		if err != nil {
			return fmt.Errorf("-add %w", err)
		}
		a.Added = a.Added.Add(added, 1)
	}
	if a.Conditions.TempC, err = solution.Decimal("-temp", a.Temp); err != nil {
		return err
	}
	if a.PH != "" {
		if a.Conditions.FixedPH, err = solution.Decimal("-ph", a.PH); err != nil {
			return err
		}
		if a.Conditions.FixedPH == 0 {
			return errors.New("-ph 0 lies outside 0.5 to 13.5")
		}
	}
	if a.CO2 != "" {
		a.Conditions.Open = true
		a.Conditions.CO2Atm, err = solution.ReadCO2("-co2", a.CO2)
	}
	return err
}

// Answer prints what was asked.
func (a *Solution) Answer(stdout io.Writer) error {
	switch {
	case a.Cases != "":
		file, err := os.Open(a.Cases)
		if err != nil {
			return err
		}
		defer file.Close()
		documents, failed, err := a.Question.Cases(file)
		if err != nil {
			return fmt.Errorf("%s: %w", a.Cases, err)
		}
		return errors.Join(WriteJSON(stdout, documents), failed)
	case a.JSON:
		document, err := a.Document()
		if err != nil {
			return err
		}
		return WriteJSON(stdout, document)
	}
	text, err := a.Text()
	if err != nil {
		return err
	}
	_, err = io.WriteString(stdout, text)
	return err
}
