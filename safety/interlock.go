package safety

// Action is what an interlock does. The smallest wins and zero locks out.
type Action uint8

// The actions, most severe first.
const (
	Lockout Action = iota // no dose until a person intervenes in the configuration or the instance
	Stop                  // latched: only a person clears
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
