package safety

import "math/bits"

// CauseSet is a set of causes, one bit each.
type CauseSet [2]uint64

// A set holds every cause.
var _ [128 - CauseCount]struct{}

func setOf(causes ...Cause) (s CauseSet) {
	for _, c := range causes {
		s.Add(c)
	}
	return s
}

// Add and Remove put a cause in and take it out.
func (s *CauseSet) Add(c Cause)    { s[c/64] |= 1 << (c % 64) }
func (s *CauseSet) Remove(c Cause) { s[c/64] &^= 1 << (c % 64) }

func (s CauseSet) has(c Cause) bool { return s[c/64]&(1<<(c%64)) != 0 }

// Empty says that no cause is in the set.
func (s CauseSet) Empty() bool { return s[0]|s[1] == 0 }

// Or is what is in either, Without what is in this set and not in the other.
func (s CauseSet) Or(o CauseSet) CauseSet      { return CauseSet{s[0] | o[0], s[1] | o[1]} }
func (s CauseSet) and(o CauseSet) CauseSet     { return CauseSet{s[0] & o[0], s[1] & o[1]} }
func (s CauseSet) Without(o CauseSet) CauseSet { return CauseSet{s[0] &^ o[0], s[1] &^ o[1]} }

// First is the lowest cause of a set that is not empty, and the set without it.
func (s CauseSet) First() (Cause, CauseSet) {
	if s[0] != 0 {
		return Cause(bits.TrailingZeros64(s[0])), CauseSet{s[0] & (s[0] - 1), s[1]}
	}
	return 64 + Cause(bits.TrailingZeros64(s[1])), CauseSet{0, s[1] & (s[1] - 1)}
}
