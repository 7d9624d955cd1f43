package main

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

var tested = regexp.MustCompile(`(?m)^--- (PASS|FAIL): (\S+) \(([0-9.]+)s\)`)

// test is a test that may find a mutant.
type test struct {
	pkg, binary string

	name    string
	rank    int // among ranks
	reaches map[int]bool
}

// ranks part the tests by the seconds that they take: a mutant that the quickest find
// costs no run of the others.
var ranks = [...]float64{0.02, 0.5, math.Inf(1)}

// rehearse builds the tests and runs them with no mutant active: how long each takes, and
// what it reaches. A test that fails for the switches themselves, as one that counts
// allocations does, is left out.
func (s *trial) rehearse(ctx context.Context, t *tally) error {
	for _, pkg := range s.found {
		if tests, err := filepath.Glob(filepath.Join(s.root, filepath.FromSlash(pkg), "*_test.go")); err != nil || len(tests) == 0 {
			continue
		}
		binary, err := s.suite(ctx, pkg)
		if err != nil {
			return err
		}
		run, err := s.runs(ctx, 20*s.limit, noVariable, pkg, binary, "-test.v", "-test.skip", cmp.Or(s.skip, "^$"))
		if err != nil {
			return err
		}
		var failed []string
		for _, found := range tested.FindAllSubmatch(run.said, -1) {
			test := test{pkg: pkg, binary: binary, name: string(found[2])}
			if string(found[1]) == "FAIL" {
				failed = append(failed, test.name)
				continue
			}
			seconds, _ := strconv.ParseFloat(string(found[3]), 64)
			for seconds > ranks[test.rank] {
				test.rank++
			}
			if test.reaches, err = s.reachedBy(ctx, &test); err != nil {
				return err
			}
			s.tests = append(s.tests, test)
		}
		if run.hung {
			return fmt.Errorf("without a mutant the tests of %s do not end: %s", pkg, lastLine(run.said))
		}
		if len(failed) > 0 {
			t.mutex.Lock()
			fmt.Fprintf(t.out, "left out of %s, since they fail for the switches alone: %s\n", pkg, strings.Join(failed, ", "))
			t.mutex.Unlock()
		}
	}
	if len(s.tests) == 0 {
		return fmt.Errorf("no test can find a mutant of %s", s.folder)
	}
	return nil
}

// reachedBy is which mutants one test comes to.
func (s *trial) reachedBy(ctx context.Context, t *test) (map[int]bool, error) {
	path := t.binary + ".reached"
	if run, err := s.runs(ctx, 20*s.limit, "MUTANTS_REACHED="+path, t.pkg, t.binary, "-test.run", "^"+t.name+"$"); err != nil || run.failed {
		return nil, cmp.Or(err, fmt.Errorf("%s fails alone: %s", t.name, lastLine(run.said)))
	}
	body, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	reaches := map[int]bool{}
	for line := range bytes.Lines(body) {
		n, err := strconv.Atoi(strings.TrimSpace(string(line)))
		if err != nil {
			return nil, err
		}
		reaches[n] = true
	}
	return reaches, nil
}

// reached says that some test comes to a mutant.
func (s *trial) reached(m *mutant) bool {
	return slices.ContainsFunc(s.tests, func(t test) bool { return t.reaches[m.number] })
}

// try says whether the tests that come to a mutant find it, the quickest of each package
// first.
func (s *trial) try(ctx context.Context, m *mutant) (killed bool, err error) {
	for rank := range ranks {
		for _, pkg := range s.found {
			binary, names := "", []string(nil)
			for _, t := range s.tests {
				if t.pkg == pkg && t.rank == rank && t.reaches[m.number] {
					binary, names = t.binary, append(names, t.name)
				}
			}
			if len(names) == 0 {
				continue
			}
			run, err := s.runs(ctx, s.limit, "MUTANT="+strconv.Itoa(m.number), pkg, binary, "-test.failfast", "-test.run", "^("+strings.Join(names, "|")+")$")
			if err != nil || run.failed {
				return run.failed, err
			}
		}
	}
	return false, nil
}
