package sim

import "leat/dosing/chem"

// uptakeOf is what plants take in the light, mmol/L per hour, in the proportions
// of their own appetite or of the blend. An ion of one sign that is taken without its counterpart leaves
// acid or base behind; the charge balance of the water sees to that. The amounts
// are balanced first, then nitrate and potassium are shifted by half the flux
// each, which leaves EC nearly alone.
func uptakeOf(blend chem.Totals, p *Plant, uptake, flux float64) chem.Totals {
	u := blend
	if p.Appetite != (chem.Totals{}) {
		u = p.Appetite
	}
	u.DIC, u.Si, u.Na, u.Cl = 0, 0, 0, 0
	cations := u.K + u.NH4 + float64(2*u.Ca) + float64(2*u.Mg)
	if cations <= 0 {
		return chem.Totals{}
	}
	// Phosphate goes as H2PO4-, the form at pH 5 to 7, with one charge: P - 1 is left
	// to nitrate.
	u.NO3 = max(cations-float64(2*u.SO4)-u.P, 0)
	// About 0.1 mS/cm per meq/L of cations with their anions, near 20 meq/L.
	u = chem.Totals{}.Add(u, uptake/0.1/cations)
	return shiftFlux(u, flux)
}

// shiftFlux makes an uptake leave this much base behind, meq/L per hour: more
// nitrate and less potassium, or for acid more ammonium or potassium and less
// nitrate.
func shiftFlux(u chem.Totals, flux float64) chem.Totals {
	half := float64(flux / 2)
	if flux >= 0 {
		u.K -= half
		u.NO3 += half
		if u.K < 0 {
			u.NO3 -= u.K
			u.K = 0
		}
		return u
	}
	if u.NH4 > 0 {
		u.NH4 -= half
	} else {
		u.K -= half
	}
	u.NO3 += half
	if u.NO3 < 0 {
		u.K -= u.NO3
		u.NO3 = 0
	}
	return u
}

// enough is the concentration, mmol/L, at which roots take an ion at half speed:
// they cannot take what is not there.
const enough = 0.05

// nitrogenSwap is the share of the nitrate uptake that ammonium takes over while
// there is plenty of it, where plants take ammonium first.
const nitrogenSwap = 0.2

// appetite is what the plants want, mmol/L per hour, of water that holds have.
func (t *tank) appetite(share float64, have chem.Totals) chem.Totals {
	want := chem.Totals{}.Add(t.uptake, share)
	if t.plant.InDark != nil && !t.light {
		want = t.uptakeDark
	}
	if t.plant.Usual != (chem.Totals{}) {
		want = t.plant.answer(want, have, share)
	}
	if t.plant.AmmoniumFirst && want.NO3 > 0 {
		swap := float64(nitrogenSwap * take(want.NO3, have.NH4))
		want.NH4 += swap
		want.NO3 -= swap
	}
	return want
}

// Roots seek nitrate, ammonium, phosphate and potassium: a tenth of the usual
// concentration gives them half of what plenty would. Calcium, magnesium and sulfate
// come with the water that plants drink, and roots hold back about half of what is too
// much: they come at half of it at the usual concentration. Of sodium and chloride a
// fifth passes.
const (
	sought = 0.1
	drunk  = 1.0
	passed = 0.2
)

// answer is how plants answer water that holds more or less than usual: they take as
// they want where it holds what is usual, less below and a little more above.
func (p *Plant) answer(want, have chem.Totals, share float64) chem.Totals {
	by := func(want, have, usual, half float64) float64 {
		if usual <= 0 {
			return want
		}
		return want * have * (1 + half) / (have + half*usual)
	}
	u := p.Usual
	return chem.Totals{
		NO3: by(want.NO3, have.NO3, u.NO3, sought), NH4: by(want.NH4, have.NH4, u.NH4, sought),
		P: by(want.P, have.P, u.P, sought), K: by(want.K, have.K, u.K, sought),
		Ca: by(want.Ca, have.Ca, u.Ca, drunk), Mg: by(want.Mg, have.Mg, u.Mg, drunk), SO4: by(want.SO4, have.SO4, u.SO4, drunk),
		Na: passed * share * p.Evaporation * have.Na, Cl: passed * share * p.Evaporation * have.Cl,
	}
}

// feed lets the plants take their share of each ion from the bulk.
func (t *tank) feed(hours, share float64) {
	have := t.bulk.perLitre()
	want := t.appetite(share, have)
	if f := t.trouble.fluxMore; f != 0 {
		want = shiftFlux(want, f)
	}
	taken := want
	if t.plant.Usual == (chem.Totals{}) {
		taken = chem.Totals{
			NO3: take(want.NO3, have.NO3), NH4: take(want.NH4, have.NH4), P: take(want.P, have.P), K: take(want.K, have.K),
			Ca: take(want.Ca, have.Ca), Mg: take(want.Mg, have.Mg), SO4: take(want.SO4, have.SO4),
		}
	}
	// The plants of a zone drink from all the water, so all of it pays.
	taken = chem.Totals{}.Add(taken, float64(hours*t.plant.Litres))
	taken = atMost(taken, t.bulk.ions)
	t.bulk.ions = t.bulk.ions.Add(taken, -1)
	t.book.taken.ions = t.book.taken.ions.Add(taken, 1)
}

func take(want, have float64) float64 {
	if have <= 0 {
		return 0
	}
	return want * have / (have + enough)
}

func atMost(want, have chem.Totals) chem.Totals {
	return chem.Totals{
		NO3: min(want.NO3, have.NO3), NH4: min(want.NH4, have.NH4), P: min(want.P, have.P), K: min(want.K, have.K),
		Ca: min(want.Ca, have.Ca), Mg: min(want.Mg, have.Mg), SO4: min(want.SO4, have.SO4),
		Na: min(want.Na, have.Na), Cl: min(want.Cl, have.Cl),
	}
}
