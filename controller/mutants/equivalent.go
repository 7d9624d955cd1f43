package main

// same is a mutant that changes nothing that anyone could see.
type same struct{ file, line, change, reason string }

// equivalents are those that were looked at, by the text of their line.
var equivalents = []same{
	{"safety/caps.go", "if u.begun && up > u.at {", "> to >=", "no time has passed, and none is added"},
	{"safety/caps.go", "if !u.begun || up > u.at {", "> to >=", "the same time is noted once more"},
	{"safety/gate.go", "if s.pump.Role == dosing.RoleAcid && net < 0 || s.pump.Role == dosing.RoleBase && net > 0 {", "< to <=", "nothing is on its way, and divided by either buffer it is nothing"},
	{"safety/gate.go", "if s.pump.Role == dosing.RoleAcid && net < 0 || s.pump.Role == dosing.RoleBase && net > 0 {", "> to >=", "nothing is on its way, and divided by either buffer it is nothing"},
}

func (s *trial) equivalent(m *mutant, reason *string) bool {
	for _, e := range equivalents {
		if e.file == s.folder+"/"+m.at.Filename && e.change == m.change && e.line == s.line(m) {
			*reason = e.reason
			return true
		}
	}
	return false
}
