package blend

import (
	"fmt"
	"math"
	"strings"
)

// gradeHint shows how a label is written.
const gradeHint = `write it as "grade 13-0-46 + 13 NO3-N": N-P-K in per cent as oxides (or "grade as elements 13-0-38 …"), then what the label adds: NO3-N, NH4-N, Ca, Mg, S, Fe EDTA …`

// ReadGrade reads a fertiliser by its label: "grade 15.5-0-0 + 14.4 NO3-N + 1.1
// NH4-N + 19 Ca". Phosphorus and potassium are P2O5 and K2O as printed on labels,
// or the elements after "as elements". Nitrogen must name its forms. What a kilogram
// holds is returned, in mmol, and the iron chelate that is named, if any.
//
// A solid fertiliser is neutral; what rounded percentages leave open is carried as
// Rest, so that it reads as neither acid nor base.
func ReadGrade(text string) (perKilogram Content, chelate string, err error) {
	body, found := strings.CutPrefix(strings.TrimSpace(text), "grade ")
	if !found {
		return Content{}, "", gradeFault(text, "is no grade")
	}
	body, elements := strings.CutPrefix(strings.TrimSpace(body), "as elements ")
	parts := strings.Split(body, "+")
	npk, err := readNPK(parts[0])
	if err != nil {
		return Content{}, "", err
	}
	names := [3]string{"N", "P2O5", "K2O"}
	if elements {
		names = [3]string{"N", "P", "K"}
	}
	total := npk[0] + npk[1] + npk[2]
	for i := 1; i < 3; i++ {
		s := spellings[names[i]]
		perKilogram[s.substance] = npk[i] * 10_000 / s.mass * s.per
	}
	forms := 0.0
	for _, part := range parts[1:] {
		percent, s, of, err := readAddition(part)
		if err != nil {
			return Content{}, "", err
		}
		if of != "" {
			chelate = of
		}
		if perKilogram[s.substance] > 0 {
			return Content{}, "", gradeFault(part, "is stated twice")
		}
		perKilogram[s.substance] = percent * 10_000 / s.mass * s.per
		if s.substance == NO3 || s.substance == NH4 {
			forms += percent * s.per * 14.007 / s.mass
		} else {
			total += percent
		}
	}
	if math.Abs(forms-npk[0]) > 0.35 { // labels round each form to a tenth or two
		return Content{}, "", gradeFault(fmt.Sprintf("%g %% N", npk[0]), fmt.Sprintf("has %s %% of it as NO3-N and NH4-N (urea is not taken: it is no nutrient in a tank)", figure(forms)))
	}
	if total > 120 || total == 0 { // oxides may pass 100 %: 0-52-34 with S as SO3
		return Content{}, "", gradeFault(text, "does not add up")
	}
	perKilogram[Rest] = -openCharge(perKilogram)
	return perKilogram, chelate, nil
}

func gradeFault(what, problem string) error { return &Fault{0, what, problem, gradeHint} }

// readNPK reads "13-0-46".
func readNPK(text string) (npk [3]float64, err error) {
	numbers := strings.Split(strings.TrimSpace(text), "-")
	if len(numbers) != 3 {
		return npk, gradeFault(text, "is not N-P-K")
	}
	for i, n := range numbers {
		if npk[i], err = decimal(n); err != nil || npk[i] > 100 {
			return npk, gradeFault(text, "is not N-P-K in per cent")
		}
	}
	return npk, nil
}

// readAddition reads "13 NO3-N", and "7 Fe DTPA" with its chelate.
func readAddition(part string) (percent float64, s spelling, chelate string, err error) {
	words := strings.Fields(part)
	if len(words) < 2 || len(words) > 3 {
		return 0, s, "", gradeFault(part, "is not PERCENT ELEMENT")
	}
	percent, err = decimal(words[0])
	s, ok := spelled(words[1])
	if err != nil || !ok || s.substance >= SubstanceCount || percent > 100 {
		return 0, s, "", gradeFault(part, "is not PERCENT ELEMENT")
	}
	if len(words) == 2 {
		return percent, s, "", nil
	}
	if s.substance != Fe {
		return 0, s, "", gradeFault(part, "names a chelate of something other than iron")
	}
	chelate = strings.ToUpper(words[2])
	if _, ok := chelateLimit(chelate); !ok {
		return 0, s, "", gradeFault(words[2], "is no chelate of the table (EDTA, DTPA, EDDHA)")
	}
	return percent, s, chelate, nil
}

// openCharge is the strong charge that a neutral salt of H2PO4 would not have.
func openCharge(c Content) float64 { return c.StrongCharge() - c[P] }
