package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"sync"
)

// tally is what became of the mutants so far.
type tally struct {
	mutex    sync.Mutex
	out      io.Writer
	counts   map[string]*count
	survived int
}

// one tries a mutant and notes what became of it.
func (t *tally) one(ctx context.Context, m drawn) error {
	m.ready.Do(func() { m.failed = m.rehearse(ctx, t) })
	if m.failed != nil {
		return m.failed
	}
	killed, err := m.try(ctx, m.mutant)
	if err != nil {
		return err
	}
	t.mutex.Lock()
	defer t.mutex.Unlock()
	file := m.folder + "/" + m.at.Filename
	c := t.counts[file]
	if c == nil {
		c = &count{}
		t.counts[file] = c
	}
	reason := ""
	switch {
	case killed:
		c.killed++
	case m.equivalent(m.mutant, &reason):
		c.equivalent++
		fmt.Fprintf(t.out, "equivalent %s/%v: %s\n", m.folder, m.mutant, reason)
	default:
		c.survived++
		t.survived++
		never := ""
		if !m.reached(m.mutant) {
			never = " (no test comes here)"
		}
		fmt.Fprintf(t.out, "SURVIVED %s/%v%s\n\t%s\n", m.folder, m.mutant, never, m.line(m.mutant))
	}
	return nil
}

type count struct{ killed, survived, equivalent int }

func (t *tally) report() {
	var files []string
	sum := count{}
	for file, c := range t.counts {
		files = append(files, file)
		sum = count{sum.killed + c.killed, sum.survived + c.survived, sum.equivalent + c.equivalent}
	}
	slices.Sort(files)
	fmt.Fprintf(t.out, "%-36s %8s %9s %11s\n", "file", "killed", "survived", "equivalent")
	for _, file := range files {
		c := t.counts[file]
		fmt.Fprintf(t.out, "%-36s %8d %9d %11d\n", file, c.killed, c.survived, c.equivalent)
	}
	share := 100 * float64(sum.killed) / float64(max(1, sum.killed+sum.survived))
	fmt.Fprintf(t.out, "%-36s %8d %9d %11d   %.1f %% killed\n", "all", sum.killed, sum.survived, sum.equivalent, share)
}
