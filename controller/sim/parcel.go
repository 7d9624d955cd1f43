package sim

import "leat/dosing/chem"

// parcel is some water with what is dissolved in it. Water moves through the farm
// in parcels only, so that no mole appears or is lost.
type parcel struct {
	ions   chem.Totals // mmol, not per litre
	litres float64
}

// water makes a parcel of this composition in mmol per L.
func water(perLitre chem.Totals, litres float64) parcel {
	return parcel{ions: chem.Totals{}.Add(perLitre, litres), litres: litres}
}

func (p *parcel) add(q parcel) {
	p.ions = p.ions.Add(q.ions, 1)
	p.litres += q.litres
}

// take removes a share of the parcel.
func (p *parcel) take(share float64) parcel {
	share = min(max(share, 0), 1)
	q := parcel{ions: chem.Totals{}.Add(p.ions, share), litres: float64(p.litres * share)}
	if share == 1 {
		*p = parcel{}
		return q
	}
	p.ions = p.ions.Add(q.ions, -1)
	p.litres -= q.litres
	return q
}

// pour moves a share of the parcel into another: take and add in one, since the plume
// does it every second.
func (p *parcel) pour(into *parcel, share float64) {
	move(&p.litres, &into.litres, share)
	from, to := &p.ions, &into.ions
	move(&from.NO3, &to.NO3, share)
	move(&from.NH4, &to.NH4, share)
	move(&from.P, &to.P, share)
	move(&from.K, &to.K, share)
	move(&from.Ca, &to.Ca, share)
	move(&from.Mg, &to.Mg, share)
	move(&from.SO4, &to.SO4, share)
	move(&from.Na, &to.Na, share)
	move(&from.Cl, &to.Cl, share)
	move(&from.DIC, &to.DIC, share)
	move(&from.Si, &to.Si, share)
}

func move(from, to *float64, share float64) {
	moved := float64(*from * share)
	*from -= moved
	*to += moved
}

// takeLitres removes at most this many litres.
func (p *parcel) takeLitres(litres float64) parcel {
	if !(litres > 0) || p.litres <= 0 {
		return parcel{}
	}
	return p.take(litres / p.litres)
}

// perLitre is the composition in mmol per L.
func (p *parcel) perLitre() chem.Totals {
	if p.litres <= 0 {
		return chem.Totals{}
	}
	return chem.Totals{}.Add(p.ions, 1/p.litres)
}

// exchange swaps the same volume between two parcels.
func exchange(p, q *parcel, litres float64) {
	litres = min(litres, p.litres, q.litres)
	out, back := p.takeLitres(litres), q.takeLitres(litres)
	p.add(back)
	q.add(out)
}
