package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"
)

// bug is a planted fault of the daemon.
type bug struct {
	name    string
	rules   string // the rules of leat rehearse -rules that it breaks
	file    string
	changes [][2]string // what stands in the file exactly once, and what takes its place
	pkg     string      // whose test finds it
	test    string      // the whole name of that test
}

// content is the file with the bug in it.
func (b *bug) content(root string) ([]byte, error) {
	body, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(b.file)))
	if err != nil {
		return nil, err
	}
	for _, change := range b.changes {
		old, with := []byte(change[0]), []byte(change[1])
		if n := bytes.Count(body, old); n != 1 || bytes.Equal(old, with) {
			return nil, fmt.Errorf("%s: %s has this text %d times, want once; move the row of the table with the code:\n%s", b.name, b.file, n, old)
		}
		body = bytes.Replace(body, old, with, 1)
	}
	return body, nil
}

// planted are all bugs of the table.
func planted() (all []bug) {
	for _, some := range [][]bug{gateBugs, watchBugs, doseBugs, peopleBugs, rimBugs, lawBugs} {
		all = append(all, some...)
	}
	return all
}

// tryPlanted tries each bug by its test, or by nights, and prints what found it.
func (t *tree) tryPlanted(ctx context.Context, out io.Writer, only *regexp.Regexp, nights int, seed uint64, limit time.Duration) (survived int, err error) {
	var bugs []bug
	for _, b := range planted() {
		if only.MatchString(b.name) {
			bugs = append(bugs, b)
		}
	}
	if nights > 0 {
		// Nights in which a healthy daemon breaks a rule would find every bug.
		bugs = append([]bug{{name: "none", rules: "–"}}, bugs...)
	}
	fmt.Fprintf(out, "%-64s %-10s %-72s %s\n", "planted", "rules", "found by", "seconds")
	for i := range bugs {
		b := &bugs[i]
		began := time.Now()
		var by string
		if nights > 0 {
			by, err = t.findByNights(ctx, b, nights, seed, limit)
		} else {
			by, err = t.findByTest(ctx, b, limit)
		}
		if err != nil {
			return survived, err
		}
		if b.file == "" && by != "" {
			return survived, fmt.Errorf("without any bug: %s", by)
		}
		if b.file != "" && by == "" {
			survived++
			by = "NOTHING"
		}
		fmt.Fprintf(out, "%-64s %-10s %-72s %.0f\n", b.name, b.rules, by, time.Since(began).Seconds())
	}
	fmt.Fprintf(out, "%d of %d not found\n", survived, len(bugs))
	return survived, nil
}

const noVariable = "MUTANT=-1"

// plant writes the overlay of a bug.
func (t *tree) plant(b *bug) (overlay string, err error) {
	if b.file == "" {
		path := filepath.Join(t.temp, "overlay.json")
		return path, os.WriteFile(path, []byte("{}"), 0o600)
	}
	body, err := b.content(t.root)
	if err != nil {
		return "", err
	}
	return t.overlay(b.file, body)
}

// findByTest runs the test that must find a bug. It returns what found it, empty for
// nothing.
func (t *tree) findByTest(ctx context.Context, b *bug, limit time.Duration) (by string, err error) {
	overlay, err := t.plant(b)
	if err != nil {
		return "", err
	}
	binary, err := t.build(ctx, overlay, b.pkg, true)
	if err != nil {
		return "", fmt.Errorf("%s: %w", b.name, err)
	}
	run, err := t.runs(ctx, limit, noVariable, b.pkg, binary, "-test.run", "^"+b.test+"$", "-test.failfast")
	switch {
	case err != nil:
		return "", err
	case !run.failed:
		return "", nil
	case run.hung:
		return b.test + " (hung)", nil
	}
	return b.test, nil
}

// rehearsals are the nights by which bugs are looked for.
var rehearsals = [][]string{
	{"-set", "standard", "-people"},
	{"-set", "standard", "-faults", "each"},
	{"-set", "floods", "-faults", "swarm", "-people"},
	{"-set", "farms", "-people"},
}

var violated = regexp.MustCompile(`invariant (\d+), seed \d+, night (\d+)`)

// findByNights plays nights with a bug until one breaks a rule.
func (t *tree) findByNights(ctx context.Context, b *bug, nights int, seed uint64, limit time.Duration) (by string, err error) {
	overlay, err := t.plant(b)
	if err != nil {
		return "", err
	}
	binary, err := t.build(ctx, overlay, "cmd/leat", false)
	if err != nil {
		return "", fmt.Errorf("%s: %w", b.name, err)
	}
	for _, which := range rehearsals {
		args := append([]string{"rehearse", "-workers", "1", "-nights", fmt.Sprint(nights), "-seed", fmt.Sprint(10_000 + seed)}, which...)
		run, err := t.runs(ctx, limit, noVariable, ".", binary, args...)
		if err != nil {
			return "", err
		}
		if !run.failed {
			continue
		}
		words := "nights of " + strings.Join(which, " ")
		if found := violated.FindSubmatch(run.said); found != nil {
			return fmt.Sprintf("invariant %s in night %s of %s", found[1], found[2], strings.Join(which, " ")), nil
		}
		if run.hung {
			return words + " (hung)", nil
		}
		return words + ": " + lastLine(run.said), nil
	}
	return "", nil
}

func lastLine(said []byte) string {
	lines := strings.Split(strings.TrimSpace(string(said)), "\n")
	last := lines[len(lines)-1]
	return last[:min(len(last), 60)]
}
