package controller

import (
	"time"

	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/ratio"
)

// CorrectionView is how the stocks bring a tank back to its recipe at a setpoint of EC. It is
// a forecast: each dose of it is decided by the loop and passes the gate as any other. A
// setpoint that is offered is a person's to approve, as a change of the setpoint.
type CorrectionView struct {
	EC    float64       // mS/cm
	In    time.Duration // until then, at the pace at which plants take
	Until time.Time     // of an offer, when the setpoint ends by itself; zero = without a time limit
	Given []GivenView
	Ions  []ThenView
}

// GivenView is what a pump gives meanwhile.
type GivenView struct {
	Pump   string
	Volume dosing.Volume
}

// ThenView is an ion of the recipe in the end, mmol/L.
type ThenView struct {
	Name              string
	Now, Then, Target float64
	Milligrams        float64 // of a mmol
}

// The shortest and the longest time for which an offered setpoint is to hold.
const (
	offeredLeast = 6 * time.Hour
	offeredMost  = 7 * 24 * time.Hour
)

// correction is the plan at the setpoint of now, and one that is worth a person's approval;
// nil each where an analysis never told what the tank holds, or nothing follows from it.
func (ac *accounts) correction(now dosing.Instant, t *tank) (plan, offer *CorrectionView) {
	a := t.ions.account
	if a.Analysed().IsZero() {
		return nil, nil
	}
	if c, ok := ratio.Correct(a, t.ec.present); ok {
		plan = ac.correctionView(t, &c)
	}
	if !t.ec.until.IsZero() {
		return plan, nil // it ends by itself: nothing is to be approved until then
	}
	ec, _ := a.Left().Setpoint()
	faster := ratio.Faster(a)
	switch {
	case ec > 0:
	case faster > 0:
		ec = faster
	default:
		return plan, nil
	}
	if c, ok := ratio.Correct(a, ec); ok && ec <= t.settings.EC.AdvisedMax && ec >= t.settings.EC.AdvisedMin {
		offer = ac.correctionView(t, &c)
		if ec == faster {
			offer.Until = now.Wall.Add(min(max(c.In, offeredLeast), offeredMost)).Truncate(time.Hour)
		}
	}
	return plan, offer
}

func (ac *accounts) correctionView(t *tank, c *ratio.Correction) *CorrectionView {
	v := &CorrectionView{EC: c.EC, In: c.In}
	for i, ml := range c.Given {
		if p := &ac.settings.Safety.Pumps[i]; p.Role == dosing.RoleStock && ml > 0 {
			v.Given = append(v.Given, GivenView{p.Name, dosing.FromMillilitres(ml)})
		}
	}
	held, target := t.ions.account.Content(), t.ions.account.Target(t.ec.present)
	for s := blend.NO3; s <= blend.S; s++ {
		if target[s] > 0 {
			v.Ions = append(v.Ions, ThenView{Name: s.Symbol(), Now: held[s], Then: c.Content[s], Target: target[s], Milligrams: s.Mass()})
		}
	}
	return v
}
