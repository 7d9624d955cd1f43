package main

// same is a mutant that changes nothing that anyone could see.
type same struct{ file, line, change, reason string }

// equivalents are those that were looked at, by the text of their line.
var equivalents = []same{}

func (s *trial) equivalent(m *mutant, reason *string) bool {
	for _, e := range equivalents {
		if e.file == m.at.Filename && e.change == m.change && e.line == s.line(m) {
			*reason = e.reason
			return true
		}
	}
	return false
}
