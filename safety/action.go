package safety

// Action is what an interlock does. The smallest wins and zero locks out.
type Action uint8

// The actions, most severe first.
const (
	Lockout Action = iota // no dose until a person intervenes in the configuration or the instance
	Stop                  // only a person clears
	Hold                  // no new dose; resumes by itself
	Run
	actionCount
)

func (a Action) String() string {
	return [...]string{"lockout", "stop", "hold", "run", "lockout"}[min(a, actionCount)]
}

// Scope is how far an interlock reaches, widest first so that zero is widest.
type Scope uint8

// The scopes.
const (
	ScopeStation   Scope = iota
	ScopeTank            // acid, base and all stocks of one tank
	ScopeNutrients       // all stocks of one tank
	ScopeReagents        // acid and base of one tank
	ScopePump            // one pump
	scopeCount
)

func (s Scope) String() string {
	return [...]string{"station", "tank", "nutrients", "acid and base", "pump", "station"}[min(s, scopeCount)]
}

// Latching is when a trip of an interlock stays until a person clears it.
type Latching uint8

// The ways to latch.
const (
	LatchesNever  Latching = iota // goes when its cause goes
	LatchesAtOnce                 // the first time it is positively seen, by more than a sample; a silent sensor only holds
	LatchesThird                  // the third time in 24 h, the fourth boot in 10 min; holds before that
	latchingCount
)

func (l Latching) String() string {
	return [...]string{"never", "at once", "when it repeats", "at once"}[min(l, latchingCount)]
}

// judged says where an interlock is looked at.
type judged uint8

const (
	byPlan judged = iota // by the gate, for one plan
	byTank               // standing, for a tank or the whole station
	byPump               // standing, for one pump of the row
)
