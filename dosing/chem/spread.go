package chem

import "math"

// Range is how far a figure reaches over the published constants.
type Range struct {
	Low, High float64 // NaN where the figure is none
	By, Set   string  // the constant that moves it most when it alone is exchanged, and whose value does; "" when nothing moves it
	Move      float64 // by so much
}

// Spread is what the published constants leave open of a result.
type Spread struct {
	PH, EC, EC25 Range
	Saturation   [PhaseCount]Range
}

// nitrateTrial names the trial of the other answer about nitrate's pairs.
const nitrateTrial = "nitrate pairs"

// Spread computes a solution again with every constant of data/published.txt in
// place of ours, one at a time and each compilation as a whole, and with nitrate's
// pairs, and returns how far the figures reach. It takes some hundred
// speciations. Errors as for Solve. The solver itself is left as it is.
func (s *Solver) Spread(t *Totals, c Conditions) (Spread, error) {
	base := Solver{NitratePairs: s.NitratePairs}
	var ours, r Result
	if err := base.Solve(t, c, &ours); err != nil {
		return Spread{}, err
	}
	spread := spreadFrom(&ours)
	trial := func(pairs bool, by *alteration, name, set string) error {
		other := Solver{NitratePairs: pairs}
		other.alter(by)
		if err := other.Solve(t, c, &r); err != nil {
			return err
		}
		spread.see(&ours, &r, name, set)
		return nil
	}
	sets := map[string][]publishedValue{}
	for i, v := range publishedValues {
		sets[v.set] = append(sets[v.set], v)
		if err := trial(s.NitratePairs, alterationBy(publishedValues[i:i+1]), v.name, v.set); err != nil {
			return Spread{}, err
		}
	}
	for _, values := range sets {
		if err := trial(s.NitratePairs, alterationBy(values), "", ""); err != nil {
			return Spread{}, err
		}
	}
	return spread, trial(!s.NitratePairs, nil, nitrateTrial, "")
}

func spreadFrom(r *Result) (s Spread) {
	point := func(v float64) Range { return Range{Low: v, High: v} }
	s.PH, s.EC, s.EC25 = point(r.PH), point(r.EC), point(r.EC25)
	for p, si := range r.Saturation {
		s.Saturation[p] = point(si)
	}
	return s
}

func (s *Spread) see(ours, r *Result, name, set string) {
	s.PH.see(ours.PH, r.PH, name, set)
	s.EC.see(ours.EC, r.EC, name, set)
	s.EC25.see(ours.EC25, r.EC25, name, set)
	for p := range s.Saturation {
		s.Saturation[p].see(ours.Saturation[p], r.Saturation[p], name, set)
	}
}

func (g *Range) see(ours, v float64, name, set string) {
	g.Low, g.High = math.Min(g.Low, v), math.Max(g.High, v)
	// What lies below the search's own accuracy is no move.
	if move := v - ours; name != "" && math.Abs(move) > math.Max(math.Abs(g.Move), 1e-7) {
		g.Move, g.By, g.Set = move, name, set
	}
}

// Published is how much the saturation index of a solid falls and rises, at
// 25 °C, when a published solubility product takes the place of ours.
func (p Phase) Published() (falls, rises float64) {
	for _, v := range publishedValues {
		if v.solid == p {
			falls, rises = math.Max(falls, v.by), math.Max(rises, -v.by)
		}
	}
	return falls, rises
}
