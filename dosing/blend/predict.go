package blend

import (
	"fmt"

	"leat/dosing/chem"
)

// open is the solution under the room's air, closed the solution as mixed.
func (t *Task) open() chem.Conditions {
	return chem.Conditions{TempC: t.TempC, Open: true, CO2Atm: t.CO2}
}

// startCharge sets the charge to be reached for the recipe itself.
func (b *blender) startCharge(m *Mix) error {
	if !b.ph {
		return nil
	}
	_, err := b.charge(m)
	return err
}

// charge reads off the present mixture which balance its pH needs, and says by how
// much, in meq/L, that has moved since the last round.
func (b *blender) charge(m *Mix) (moved float64, err error) {
	t := m.Reached.Ions()
	if err := b.chem.Solve(&t, b.t.open(), &m.Settled); err != nil {
		return 0, fmt.Errorf("the mixture: %w", err)
	}
	if !b.ph {
		return 0, nil
	}
	need, err := b.needed(m.Reached)
	if err != nil {
		return 0, err
	}
	moved = need - b.balance
	b.balance = need
	if moved < 0 {
		moved = -moved
	}
	return moved, nil
}

// needed is the balance that a solution needs for the pH that is asked.
func (b *blender) needed(c Content) (float64, error) {
	t := c.Ions()
	conditions := b.t.open()
	conditions.FixedPH, conditions.OnlyHere = b.t.PH, true
	var r chem.Result
	if err := b.chem.Solve(&t, conditions, &r); err != nil {
		return 0, fmt.Errorf("the mixture: %w", err)
	}
	return r.StrongCharge - float64(phosphateNear*c[P]), nil
}

// acidFor is the acid in meq/L that the mixture still needs; negative: base.
func (b *blender) acidFor(m *Mix) (float64, error) {
	need, err := b.needed(m.Reached)
	if err != nil {
		return 0, err
	}
	return balanceOf(m.Reached) - need, nil
}

// baseAcid is the acid in meq/L that the base alone would need: the alkalinity that
// is to be met.
func (b *blender) baseAcid(m *Mix) (float64, error) {
	need, err := b.needed(m.Task.Base)
	if err != nil {
		return 0, err
	}
	return balanceOf(m.Task.Base) - need, nil
}

// predict computes the mixture as it is at once and once the air has had its say.
func (b *blender) predict(m *Mix) error {
	t := m.Reached.Ions()
	if err := b.chem.Solve(&t, b.t.open(), &m.Settled); err != nil {
		return fmt.Errorf("the mixture: %w", err)
	}
	if err := b.chem.Solve(&t, chem.Conditions{TempC: b.t.TempC}, &m.AtOnce); err != nil {
		return fmt.Errorf("the mixture: %w", err)
	}
	var err error
	m.need, err = b.needed(m.Reached)
	return err
}

// cations and anions of the macronutrients and what comes with them, meq/L,
// phosphate as H2PO4.
func (c Content) cations() float64 {
	return c[NH4] + c[K] + c[Na] + 2*c[Ca] + 2*c[Mg]
}

func (c Content) anions() float64 { return c[NO3] + c[P] + c[Cl] + 2*c[S] }

// Charges are the cations and anions of the mixture, meq/L, phosphate as H2PO4.
func (m *Mix) Charges() (cations, anions float64) { return m.Reached.cations(), m.Reached.anions() }
