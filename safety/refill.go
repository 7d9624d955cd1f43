package safety

import "leat/dosing"

// Refilled says that the container of a pump was filled: what its old liquid did says
// nothing of the new one. What was learned of the tanks stands.
func (w *Watch) Refilled(pump dosing.PumpID) {
	if int(pump) >= len(w.settings.Pumps) {
		return
	}
	for i := range w.tanks {
		if r := w.tanks[i].responses; r != nil && w.settings.Pumps[pump].ServesTank(dosing.TankID(i)) {
			r.refilled(pump, w.settings.Pumps[pump].Role)
		}
	}
}

// refilled forgets what was seen of one pump. The pool of all stocks together stands: the
// others are in it.
func (r *Responses) refilled(pump dosing.PumpID, role dosing.Role) {
	class, dosed := classOf(role)
	if !dosed {
		return
	}
	for i := range r.pools {
		if p := &r.pools[i]; p.single && p.pump == pump || p.class == class && !p.single && (class != classStock || r.alone(p)) {
			p.forget()
		}
	}
}
