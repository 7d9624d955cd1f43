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
	"time"
)

//go:embed switch.txt
var switchText string

const mutated = "safety"

// trial is the package with all its mutants, built.
type trial struct {
	*tree
	*choice
	mutants []mutant
	lines   map[string][]string // by file
	binary  string
	tests   []test
}

// choice is which mutants are tried, and by which tests.
type choice struct {
	only   *regexp.Regexp
	skip   string // tests
	sample int    // 0 = all
	seed   uint64
	limit  time.Duration
}

// trySafety tries a sample of the mutants of safety and prints what survived.
func (t *tree) trySafety(ctx context.Context, out io.Writer, which *choice) (survived int, err error) {
	s := &trial{tree: t, choice: which, lines: map[string][]string{}}
	if err := s.make(ctx); err != nil {
		return 0, err
	}
	if err := s.rehearse(ctx, out); err != nil {
		return 0, err
	}
	all := slices.DeleteFunc(slices.Clone(s.mutants), func(m mutant) bool { return !s.only.MatchString(m.String()) })
	drawn := all
	if s.sample > 0 && s.sample < len(all) {
		drawn = nil // in the order drawn: of a run that is interrupted, too, it is a fair sample
		for _, i := range rand.New(rand.NewPCG(s.seed, 0)).Perm(len(all))[:s.sample] {
			drawn = append(drawn, all[i])
		}
	}
	fmt.Fprintf(out, "%d mutants of %s, %d drawn by seed %d\n", len(all), mutated, len(drawn), s.seed)
	counts := map[string]*count{}
	defer func() { report(out, counts) }() // of those that were tried, if it was interrupted
	for i := range drawn {
		m := &drawn[i]
		c := counts[m.at.Filename]
		if c == nil {
			c = &count{}
			counts[m.at.Filename] = c
		}
		killed, err := s.try(ctx, m)
		if err != nil {
			return survived, err
		}
		reason := ""
		switch {
		case killed:
			c.killed++
			continue
		case s.equivalent(m, &reason):
			c.equivalent++
			fmt.Fprintf(out, "equivalent %v: %s\n", m, reason)
			continue
		}
		c.survived++
		survived++
		never := ""
		if !s.reached(m) {
			never = " (no test comes here)"
		}
		fmt.Fprintf(out, "SURVIVED %v%s\n\t%s\n", m, never, s.line(m))
	}
	return survived, nil
}

type count struct{ killed, survived, equivalent int }

func report(out io.Writer, counts map[string]*count) {
	var files []string
	sum := count{}
	for file, c := range counts {
		files = append(files, file)
		sum = count{sum.killed + c.killed, sum.survived + c.survived, sum.equivalent + c.equivalent}
	}
	slices.Sort(files)
	fmt.Fprintf(out, "%-24s %8s %9s %11s\n", "file", "killed", "survived", "equivalent")
	for _, file := range files {
		c := counts[file]
		fmt.Fprintf(out, "%-24s %8d %9d %11d\n", file, c.killed, c.survived, c.equivalent)
	}
	share := 100 * float64(sum.killed) / float64(max(1, sum.killed+sum.survived))
	fmt.Fprintf(out, "%-24s %8d %9d %11d   %.1f %% killed\n", "all", sum.killed, sum.survived, sum.equivalent, share)
}

func (s *trial) line(m *mutant) string { return strings.TrimSpace(s.lines[m.at.Filename][m.at.Line-1]) }

// make mutates the package and builds its tests.
func (s *trial) make(ctx context.Context) error {
	c, err := s.newCompiler(mutated)
	if err != nil {
		return err
	}
	m, texts, err := s.mutate(c)
	if err != nil {
		return err
	}
	s.mutants = m.mutants()
	replace := map[string]string{}
	for name, text := range texts {
		path := filepath.Join(s.temp, "mutated_"+name)
		if err := os.WriteFile(path, text, 0o600); err != nil {
			return err
		}
		replace[filepath.Join(s.root, mutated, name)] = path
	}
	body, err := json.Marshal(map[string]map[string]string{"Replace": replace})
	if err != nil {
		return err
	}
	overlay := filepath.Join(s.temp, "overlay.json")
	if err := os.WriteFile(overlay, body, 0o600); err != nil {
		return err
	}
	s.binary, err = s.build(ctx, overlay, mutated, true)
	return err
}

const switchFile = "mutate_switch.go"

// mutate makes all mutants that compile, and the texts of the files that hold them.
func (s *trial) mutate(c *compiler) (*mutation, map[string][]byte, error) {
	m := &mutation{fset: c.fset, info: &types.Info{Types: map[ast.Expr]types.TypeAndValue{}, Uses: map[*ast.Ident]types.Object{}},
		consts: map[types.Object]int{}, edits: map[*ast.File][]insertion{}}
	names := []string{}
	var files []*ast.File
	for name := range c.files[mutated] {
		names = append(names, name)
	}
	slices.Sort(names)
	bodies := map[string][]byte{}
	for _, name := range names {
		body, err := os.ReadFile(filepath.Join(s.root, mutated, name))
		if err != nil {
			return nil, nil, err
		}
		bodies[name], s.lines[name] = body, strings.Split(string(body), "\n")
		files = append(files, c.files[mutated][name])
	}
	var err error
	if m.pkg, err = (&types.Config{Importer: c.imports}).Check("leat/"+mutated, c.fset, files, m.info); err != nil {
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
		dropped, err := m.drop(c, texts, places)
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
func (m *mutation) drop(c *compiler, texts map[string][]byte, places map[string][]laid) (dropped int, err error) {
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
	_, _ = (&types.Config{Importer: c.imports, Error: blame}).Check("leat/"+mutated, c.fset, files, nil) // blame was told
	if dropped == 0 && other != nil {
		return 0, other
	}
	return dropped, nil
}

var tested = regexp.MustCompile(`(?m)^--- (PASS|FAIL): (\S+) \(([0-9.]+)s\)`)

// test is a test of the package.
type test struct {
	name    string
	rank    int // among ranks
	reaches map[int]bool
}

// ranks part the tests by the seconds that they take: a mutant that the quickest find
// costs no run of the others.
var ranks = [...]float64{0.02, 0.5, math.Inf(1)}

// rehearse runs the tests with no mutant active: how long each takes, and what it
// reaches. A test that fails for the switches themselves, as one that counts allocations
// does, is left out.
func (s *trial) rehearse(ctx context.Context, out io.Writer) error {
	run, err := s.runs(ctx, 20*s.limit, noVariable, mutated, s.binary, "-test.v", "-test.skip", cmp.Or(s.skip, "^$"))
	if err != nil {
		return err
	}
	var failed []string
	for _, found := range tested.FindAllSubmatch(run.said, -1) {
		test := test{name: string(found[2])}
		if string(found[1]) == "FAIL" {
			failed = append(failed, test.name)
			continue
		}
		seconds, _ := strconv.ParseFloat(string(found[3]), 64)
		for seconds > ranks[test.rank] {
			test.rank++
		}
		if test.reaches, err = s.reachedBy(ctx, test.name); err != nil {
			return err
		}
		s.tests = append(s.tests, test)
	}
	if run.hung || len(s.tests) == 0 {
		return fmt.Errorf("without a mutant the tests do not end: %s", lastLine(run.said))
	}
	if len(failed) > 0 {
		fmt.Fprintf(out, "left out, since they fail for the switches alone: %s\n", strings.Join(failed, ", "))
	}
	return nil
}

// reachedBy is which mutants one test comes to.
func (s *trial) reachedBy(ctx context.Context, name string) (map[int]bool, error) {
	path := filepath.Join(s.temp, "reached")
	if run, err := s.runs(ctx, 20*s.limit, "MUTANTS_REACHED="+path, mutated, s.binary, "-test.run", "^"+name+"$"); err != nil || run.failed {
		return nil, cmp.Or(err, fmt.Errorf("%s fails alone: %s", name, lastLine(run.said)))
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

// try says whether the tests that come to a mutant find it.
func (s *trial) try(ctx context.Context, m *mutant) (killed bool, err error) {
	for rank := range ranks {
		var names []string
		for _, t := range s.tests {
			if t.rank == rank && t.reaches[m.number] {
				names = append(names, t.name)
			}
		}
		if len(names) == 0 {
			continue
		}
		run, err := s.runs(ctx, s.limit, "MUTANT="+strconv.Itoa(m.number), mutated, s.binary, "-test.failfast", "-test.run", "^("+strings.Join(names, "|")+")$")
		if err != nil || run.failed {
			return run.failed, err
		}
	}
	return false, nil
}
