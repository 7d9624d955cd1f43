package chem

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

func init() {
	if err := readTables(); err != nil {
		// The tables are part of the program; a broken one is a broken build.
		panic("chem: " + err.Error())
	}
}

func readTables() error {
	rows := dataRows(speciesText, "|")
	if len(rows) != int(SpeciesCount) {
		return fmt.Errorf("species.txt has %d rows, species.go %d", len(rows), SpeciesCount)
	}
	for i, row := range rows {
		if err := readSpecies(Species(i), row); err != nil {
			return fmt.Errorf("species.txt, %s: %w", row[0], err)
		}
	}
	if err := groupRows(); err != nil {
		return fmt.Errorf("species.txt: %w", err)
	}
	if len(gammas) > gammaMost {
		return fmt.Errorf("%d kinds of activity coefficient, room for %d", len(gammas), gammaMost)
	}
	err := eachRow(transportText, 5, func(sp *species, v []float64) {
		sp.d25, sp.dT, sp.size, sp.sizeGrowth, sp.viscExponent = v[0]*1e-9, v[1], v[2], v[3], v[4]
		if sp.size == 0 {
			sp.size = 3.5
		}
	})
	if err != nil {
		return fmt.Errorf("transport.txt: %w", err)
	}
	if err = eachRow(viscosityText, 7, func(sp *species, v []float64) { copy(sp.visc[:], v) }); err != nil {
		return fmt.Errorf("viscosity.txt: %w", err)
	}
	err = eachRow(volumeText, 10, func(sp *species, v []float64) { copy(sp.vol[:], v); sp.hasVolume = true })
	if err != nil {
		return fmt.Errorf("volume.txt: %w", err)
	}
	listConductors()
	listSwellings()
	listThickeners()
	if err = readPhases(); err != nil {
		return err
	}
	if err = readNitratePairs(); err != nil {
		return fmt.Errorf("nitrate.txt: %w", err)
	}
	if err = readPublished(); err != nil {
		return fmt.Errorf("published.txt: %w", err)
	}
	return nil
}

func readSpecies(i Species, row []string) error {
	if len(row) != 5 {
		return fmt.Errorf("%d columns instead of 5", len(row))
	}
	sp := &table[i]
	sp.name, sp.source, sp.partner = row[0], row[4], -1
	sp.charge = chargeOf(row[0])
	sp.zz = float64(sp.charge * sp.charge)
	var err error
	if sp.log, err = readLogK(row[2]); err != nil {
		return err
	}
	sp.made = made{row[1], sp.log}
	if row[2] == basis {
		for u, m := range unknowns {
			if m == i {
				sp.formed[u], sp.nu[u] = 1, 1
			}
		}
		for p, m := range partners {
			if m == i {
				sp.partner, sp.partners = int8(p), 1
			}
		}
	} else if err = addReaction(sp, row[1], i); err != nil {
		return err
	}
	g, err := readActivity(row[3], sp.zz)
	if err != nil {
		return err
	}
	sp.place(g)
	return nil
}

// addReaction adds up what a species is made of; a term may be any species of
// an earlier row, whose own formation is then included.
func addReaction(sp *species, reaction string, before Species) error {
	return eachTerm(reaction, before, func(n int, of *species, water bool) {
		if water {
			sp.water += int8(n)
			return
		}
		for u := range sp.formed {
			sp.formed[u] += int8(n) * of.formed[u]
			sp.nu[u] = float64(sp.formed[u])
		}
		if of.partner >= 0 {
			sp.partner = of.partner
			sp.partners += int8(n) * of.partners
		}
		sp.water += int8(n) * of.water
		for j := range sp.log {
			sp.log[j] += float64(float64(n) * of.log[j])
		}
	})
}

// eachTerm reads "Ca+2 + HPO4-2 - 2 H2O".
func eachTerm(reaction string, before Species, add func(n int, of *species, water bool)) error {
	sign, n := 1, 1
	for _, word := range strings.Fields(reaction) {
		switch {
		case word == "+":
			sign = 1
		case word == "-":
			sign = -1
		case word == "H2O":
			add(sign*n, nil, true)
			sign, n = 1, 1
		default:
			if k, err := strconv.Atoi(word); err == nil {
				n = k
				continue
			}
			s, ok := lookup(word, before)
			if !ok {
				return fmt.Errorf("%q is not a species of an earlier row", word)
			}
			add(sign*n, &table[s], false)
			sign, n = 1, 1
		}
	}
	return nil
}

func lookup(name string, before Species) (Species, bool) {
	for s := Species(0); s < before; s++ {
		if table[s].name == name {
			return s, true
		}
	}
	return 0, false
}

// readLogK reads "-", "at25 X", "at25 X heat H" and "curve C1 … C6"; a heat becomes the
// same six numbers as a curve.
func readLogK(text string) (k logK, err error) {
	if text == basis {
		return k, nil
	}
	if curve, found := strings.CutPrefix(text, "curve "); found {
		v, err := numbers(strings.Fields(curve))
		if err != nil || len(v) == 0 || len(v) > len(k) {
			return k, fmt.Errorf("log K %q is no curve of one to six numbers", text)
		}
		copy(k[:], v)
		return k, nil
	}
	v, err := named(text, "at25", "heat")
	at25, stated := v["at25"]
	if err != nil || !stated {
		return k, fmt.Errorf("log K %q is not understood", text)
	}
	slope := v["heat"] * 1000 / (gasConstant * ln10)
	k[0], k[2] = at25+slope/t25, -slope
	return k, nil
}

// named reads numbers behind their names, "size 5.4 slope 0.1", each once.
func named(text string, names ...string) (map[string]float64, error) {
	words := strings.Fields(text)
	all := map[string]float64{}
	for i := 0; i < len(words); i += 2 {
		if _, twice := all[words[i]]; twice || i+1 == len(words) || !slices.Contains(names, words[i]) {
			return nil, fmt.Errorf("%q: each of %s once, with a number behind it", text, strings.Join(names, " and "))
		}
		v, err := numbers(words[i+1 : i+2])
		if err != nil {
			return nil, err
		}
		all[words[i]] = v[0]
	}
	return all, nil
}

// readActivity reads "size D slope S" and "by charge".
func readActivity(text string, zz float64) (g gamma, err error) {
	g.zz = zz
	if text == "by charge" {
		g.davies = true
		return g, nil
	}
	v, err := named(text, "size", "slope")
	if err != nil || len(v) == 0 || v["size"] < 0 {
		return g, fmt.Errorf("activity %q is not understood", text)
	}
	g.size, g.slope = v["size"], v["slope"]
	return g, nil
}

// place gives a species its kind of activity coefficient.
func (sp *species) place(g gamma) {
	for i, known := range gammas {
		if known == g {
			sp.gamma = i
			return
		}
	}
	sp.gamma = len(gammas)
	gammas = append(gammas, g)
}

// groupRows finds the rows of each partner and the runs within; the table keeps
// them together.
func groupRows() error {
	for s := Species(0); s < SpeciesCount; s++ {
		sp := &table[s]
		g := &groups[partnerCount]
		if sp.partner >= 0 {
			g = &groups[sp.partner]
		}
		if len(g.runs) == 0 {
			g.from, g.to, g.double = s, s, -1
		}
		if g.to != s {
			return fmt.Errorf("%s stands apart from the other rows of its partner", sp.name)
		}
		g.to = s + 1
		next := run{from: s, to: s + 1, anion: uH, partners: float64(sp.partners)}
		for u := uSO4; u < unknownCount; u++ {
			n := int(sp.formed[u])
			if n == 0 {
				continue
			}
			if next.anion != uH || n < 0 || n > 2 {
				return fmt.Errorf("%s holds more of sulfate, carbonate and phosphate than the solver has a place for", sp.name)
			}
			next.anion, next.n, next.factor = u, float64(n), 2*u+n-1
		}
		factor := protonFactor(int(sp.formed[uH]), int(sp.water))
		if factor < 0 {
			return fmt.Errorf("%s holds more hydrogen or water than the solver's table of factors", sp.name)
		}
		if sp.partners > 1 {
			if sp.partners > 2 || g.double >= 0 {
				return fmt.Errorf("%s holds more of its partner than the solver's quadratic", sp.name)
			}
			g.double = int(s - g.from)
		}
		chargeNumber[s] = float64(sp.charge)
		hot[s] = hotRow{hydrogen: sp.nu[uH], zz: sp.zz, gamma: uint8(sp.gamma), proton: uint8(factor), anion: uint8(next.factor)}
		if last := len(g.runs) - 1; last >= 0 {
			if r := &g.runs[last]; r.factor == next.factor && r.partners == next.partners {
				r.to = s + 1
				continue
			}
		}
		g.runs = append(g.runs, next)
	}
	return nil
}

func eachRow(text string, columns int, set func(*species, []float64)) error {
	for _, row := range dataRows(text, "") {
		s, ok := lookup(row[0], SpeciesCount)
		if !ok {
			return fmt.Errorf("%s is not in species.txt", row[0])
		}
		v, err := numbers(row[1:])
		if err != nil || len(v) != columns {
			return fmt.Errorf("%s: %d numbers wanted", row[0], columns)
		}
		set(&table[s], v)
	}
	return nil
}

// dataRows splits a table into rows and trimmed columns; lines that begin with
// # are remarks. Without a separator columns part at spaces.
func dataRows(text, separator string) (rows [][]string) {
	for _, line := range strings.Split(text, "\n") {
		if strings.HasPrefix(line, "#") || strings.TrimSpace(line) == "" {
			continue
		}
		if separator == "" {
			rows = append(rows, strings.Fields(line))
			continue
		}
		row := strings.Split(line, separator)
		for i := range row {
			row[i] = strings.TrimSpace(row[i])
		}
		rows = append(rows, row)
	}
	return rows
}

func numbers(words []string) ([]float64, error) {
	v := make([]float64, len(words))
	for i, w := range words {
		var err error
		if v[i], err = strconv.ParseFloat(w, 64); err != nil || math.IsInf(v[i], 0) || math.IsNaN(v[i]) {
			return nil, fmt.Errorf("%q is not a number", w)
		}
	}
	return v, nil
}

// chargeOf reads the charge at the end of a name: "Ca+2", "NO3-", "H3PO4".
func chargeOf(name string) int {
	i := strings.LastIndexAny(name, "+-")
	if i < 0 {
		return 0
	}
	n := 1
	if i+1 < len(name) {
		n, _ = strconv.Atoi(name[i+1:])
	}
	if name[i] == '-' {
		return -n
	}
	return n
}
