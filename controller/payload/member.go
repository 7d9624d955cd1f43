package payload

import (
	"bytes"
	"iter"
)

// fewKeys is how many keys of an object are compared one by one; beyond it a map
// keeps a hostile object of 10,000 keys from costing 50 million comparisons.
const fewKeys = 16

// keys are the keys of one object seen so far.
type keys struct {
	n    int
	few  [fewKeys][]byte
	many map[string]struct{}
}

// add says whether key is new.
func (k *keys) add(key []byte) bool {
	if k.n < fewKeys {
		for _, earlier := range k.few[:k.n] {
			if bytes.Equal(earlier, key) {
				return false
			}
		}
		k.few[k.n] = key
		k.n++
		return true
	}
	if k.many == nil {
		k.many = make(map[string]struct{}, 4*fewKeys)
		for _, earlier := range k.few {
			k.many[string(earlier)] = struct{}{}
		}
	}
	if _, twice := k.many[string(key)]; twice {
		return false
	}
	k.many[string(key)] = struct{}{}
	return true
}

// members goes through an object of a document that was scanned already.
func (v value) members() iter.Seq2[[]byte, value] {
	return func(yield func([]byte, value) bool) {
		s := scanner{body: v.raw, at: 1}
		for {
			s.space()
			if s.at >= len(s.body) || s.body[s.at] != '"' {
				return
			}
			raw, err := s.text()
			if err != nil {
				return
			}
			s.space()
			s.at++ // the colon
			s.space()
			member, err := s.value(0, trail{})
			if err != nil || !yield(unescape(raw), member) {
				return
			}
			s.space()
			s.at++ // the comma
		}
	}
}

// elements goes through an array of a document that was scanned already.
func (v value) elements() iter.Seq[value] {
	return func(yield func(value) bool) {
		s := scanner{body: v.raw, at: 1}
		for {
			s.space()
			if s.at >= len(s.body) || s.body[s.at] == ']' {
				return
			}
			element, err := s.value(0, trail{})
			if err != nil || !yield(element) {
				return
			}
			s.space()
			s.at++ // the comma
		}
	}
}
