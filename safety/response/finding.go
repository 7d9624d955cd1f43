package response

import "leat/dosing"

// Class sorts what moves a tank.
type Class uint8

const (
	Acid Class = iota
	Base
	Stock
	Classes
	topUpClass = Classes // not a dose and never judged, but it moves pH and EC
)

func (c Class) String() string {
	return [...]string{"acid", "base", "stock", "top-up"}[min(c, topUpClass)]
}

// Opposite is base to acid and acid to base.
func (c Class) Opposite() (opposite Class, has bool) {
	switch c {
	case Acid:
		return Base, true
	case Base:
		return Acid, true
	}
	return c, false
}

// ClassOf is the class of a pump's role.
func ClassOf(role dosing.Role) (c Class, ok bool) {
	switch role {
	case dosing.RoleAcid:
		return Acid, true
	case dosing.RoleBase:
		return Base, true
	case dosing.RoleStock:
		return Stock, true
	}
	return 0, false
}

// Fault is what is wrong with doses that do not do as they should.
type Fault uint8

// The faults that doses show. The zero fault is none.
const (
	Sound Fault = iota
	Silent
	WrongWay
	TooStrong
	ReagentStrong
)

// Reach is how far a fault reaches.
type Reach uint8

// The reaches: the pump that gave most of the pool, all acid and base, all stocks.
const (
	OnePump Reach = iota
	Reagents
	Nutrients
)

// Finding is what the doses of a pool showed.
type Finding struct {
	Fault  Fault
	Reach  Reach
	Pump   dosing.PumpID // the pump that gave most of the pool
	Ratio  float64       // observed ÷ predicted effect
	Detail string        // the figures, in words
}
