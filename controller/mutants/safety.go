package main

import (
	"bytes"
	"cmp"
	"context"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/types"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

//go:embed switch.txt
var switchText string

// mutated are the packages that are mutated, each with those whose tests may find it: its
// own, and where that has none or is used by one whose tests know better, those too.
var mutated = []struct {
	folder string
	found  []string
}{
	{"safety", []string{"safety"}},
	{"safety/alarm", []string{"safety/alarm"}},
	{"safety/ledger", []string{"safety/ledger"}},
	{"safety/line", []string{"safety/line"}},
	{"safety/response", []string{"safety/response", "safety"}},
	{"safety/sizing", []string{"safety/sizing", "controller/config"}},
}

// trial is a package with all its mutants, and once it is wanted the tests that may find
// them, built.
type trial struct {
	*tree
	*choice
	folder  string
	found   []string // packages with tests
	mutants []mutant
	lines   map[string][]string // by file
	texts   map[string][]byte   // mutated, by file
	ready   sync.Once
	failed  error
	tests   []test
}

// choice is which mutants are tried, and by which tests.
type choice struct {
	only   *regexp.Regexp
	skip   string // tests
	sample int    // 0 = all
	seed   uint64
	limit  time.Duration

	workers int
}

// drawn is a mutant with the trial that it is of.
type drawn struct {
	*trial
	*mutant
}

// trySafety tries a sample of the mutants of safety and prints what survived.
func (t *tree) trySafety(ctx context.Context, out io.Writer, which *choice) (survived int, err error) {
	var all []drawn
	for _, m := range mutated {
		s := &trial{tree: t, choice: which, folder: m.folder, found: m.found, lines: map[string][]string{}}
		if err := s.make(); err != nil {
			return 0, err
		}
		for i := range s.mutants {
			if which.only.MatchString(s.folder + "/" + s.mutants[i].String()) {
				all = append(all, drawn{s, &s.mutants[i]})
			}
		}
	}
	some := all
	if which.sample > 0 && which.sample < len(all) {
		some = nil // in the order drawn: of a run that is interrupted, too, it is a fair sample
		for _, i := range rand.New(rand.NewPCG(which.seed, 0)).Perm(len(all))[:which.sample] {
			some = append(some, all[i])
		}
	}
	fmt.Fprintf(out, "%d mutants of safety and what is in it, %d drawn by seed %d\n", len(all), len(some), which.seed)
	tally := &tally{out: out, counts: map[string]*count{}}
	defer tally.report() // of those that were tried, if it was interrupted
	work, wait := make(chan drawn), sync.WaitGroup{}
	within, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	for range max(1, which.workers) {
		wait.Go(func() {
			for m := range work {
				if err := tally.one(within, m); err != nil {
					cancel(err)
				}
			}
		})
	}
	for _, m := range some {
		if within.Err() != nil {
			break
		}
		work <- m
	}
	close(work)
	wait.Wait()
	return tally.survived, context.Cause(within)
}

func (s *trial) line(m *mutant) string { return strings.TrimSpace(s.lines[m.at.Filename][m.at.Line-1]) }

// make mutates the package.
func (s *trial) make() error {
	c, err := s.newCompiler(s.folder)
	if err != nil {
		return err
	}
	m, texts, err := s.mutate(c)
	if err != nil {
		return fmt.Errorf("%s: %w", s.folder, err)
	}
	s.mutants, s.texts = m.mutants(), texts
	return nil
}

// suite builds the tests of a package over the mutated one.
func (s *trial) suite(ctx context.Context, pkg string) (binary string, err error) {
	own := strings.ReplaceAll(s.folder, "/", "_")
	replace := map[string]string{}
	for name, text := range s.texts {
		path := filepath.Join(s.temp, own+"_"+name)
		if err := os.WriteFile(path, text, 0o600); err != nil {
			return "", err
		}
		replace[filepath.Join(s.root, filepath.FromSlash(s.folder), name)] = path
	}
	body, err := json.Marshal(map[string]map[string]string{"Replace": replace})
	if err != nil {
		return "", err
	}
	overlay := filepath.Join(s.temp, own+".json")
	if err := os.WriteFile(overlay, body, 0o600); err != nil {
		return "", err
	}
	s.building.Lock()
	defer s.building.Unlock()
	built, err := s.build(ctx, overlay, pkg, true)
	if err != nil {
		return "", err
	}
	binary = filepath.Join(s.temp, own+"_by_"+strings.ReplaceAll(pkg, "/", "_"))
	return binary, os.Rename(built, binary)
}

const switchFile = "mutate_switch.go"

// mutate makes all mutants that compile, and the texts of the files that hold them.
func (s *trial) mutate(c *compiler) (*mutation, map[string][]byte, error) {
	m := &mutation{fset: c.fset, info: &types.Info{Types: map[ast.Expr]types.TypeAndValue{}, Uses: map[*ast.Ident]types.Object{}},
		consts: map[types.Object]int{}, edits: map[*ast.File][]insertion{}}
	names := []string{}
	var files []*ast.File
	for name := range c.files[s.folder] {
		names = append(names, name)
	}
	slices.Sort(names)
	bodies := map[string][]byte{}
	for _, name := range names {
		body, err := os.ReadFile(filepath.Join(s.root, filepath.FromSlash(s.folder), name))
		if err != nil {
			return nil, nil, err
		}
		bodies[name], s.lines[name] = body, strings.Split(string(body), "\n")
		files = append(files, c.files[s.folder][name])
	}
	var err error
	if m.pkg, err = (&types.Config{Importer: c.imports}).Check("leat/"+s.folder, c.fset, files, m.info); err != nil {
		return nil, nil, err
	}
	for _, file := range files {
		m.file = file
		m.walk(file)
	}
	for range 50 {
		texts := map[string][]byte{switchFile: []byte(strings.NewReplacer("PACKAGE", m.pkg.Name(), "COUNT", strconv.Itoa(m.next)).Replace(switchText))}
		places := map[string][]laid{}
		for i, name := range names {
			texts[name], places[name] = m.render(bodies[name], files[i])
		}
		dropped, err := m.drop(c, s.folder, texts, places)
		if err != nil {
			return nil, nil, err
		}
		if dropped == 0 {
			return m, texts, nil
		}
	}
	return nil, nil, errors.New("the mutants do not compile, whichever are left out")
}

// drop takes out the sites at which the package does not compile.
func (m *mutation) drop(c *compiler, folder string, texts map[string][]byte, places map[string][]laid) (dropped int, err error) {
	var files []*ast.File
	for name, text := range texts {
		file, err := parser.ParseFile(c.fset, name, text, parser.SkipObjectResolution)
		if err != nil {
			return 0, fmt.Errorf("%w in a mutated file", err)
		}
		files = append(files, file)
	}
	var other error
	blame := func(err error) {
		var at types.Error
		if !errors.As(err, &at) {
			other = err
			return
		}
		where := c.fset.Position(at.Pos)
		// The nearest before and behind: an operator's fault is told at its first operand.
		before, behind := -1, -1
		for _, p := range places[where.Filename] {
			switch {
			case m.sites[p.site].dropped:
			case p.offset <= where.Offset:
				before = p.site
			case behind < 0:
				behind = p.site
			}
		}
		for _, site := range []int{before, behind} {
			if site >= 0 {
				m.sites[site].dropped = true
				dropped++
			}
		}
		other = err
	}
	_, _ = (&types.Config{Importer: c.imports, Error: blame}).Check("leat/"+folder, c.fset, files, nil) // blame was told
	if dropped == 0 && other != nil {
		return 0, other
	}
	return dropped, nil
}

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
