package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"regexp"
	"sync"
	"time"
)

const usage = `usage: go run ./controller/mutants planted [-only PATTERN] [-nights N [-seed S]]
       go run ./controller/mutants safety [-sample N -seed S] [-only PATTERN] [-skip PATTERN] [-workers N]
Exit code: 0 all found, 1 some not, 2 wrong use.
`

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	if len(args) == 0 {
		fmt.Fprint(stderr, usage)
		return 2
	}
	flags := flag.NewFlagSet("mutants "+args[0], flag.ContinueOnError)
	flags.SetOutput(stderr)
	only := flags.String("only", "", "try only what matches this `PATTERN`: a bug's name, or a mutant's FILE:LINE and change")
	nights := flags.Int("nights", 0, "try by so many `NIGHTS` of the rehearsal in place of the tests")
	sample := flags.Int("sample", 0, "try so many `MUTANTS`, drawn by the seed; 0 = all")
	seed := flags.Uint64("seed", 1, "`SEED` of the sample, or of the first night above 10,000")
	skip := flags.String("skip", "", "leave these tests of safety out, as the slowest: a `PATTERN`; what is killed is then the least that is")
	workers := flags.Int("workers", 2, "mutants of safety tried at once")
	limit := flags.Duration("limit", 3*time.Minute, "`TIME` in which a mutant's tests must end; one that hangs is found")
	if err := flags.Parse(args[1:]); err != nil {
		return 2
	}
	pattern, err := regexp.Compile(*only)
	if err != nil || flags.NArg() > 0 || *nights < 0 || *sample < 0 {
		fmt.Fprint(stderr, usage)
		return 2
	}
	t, err := newTree(".")
	if err != nil {
		fmt.Fprintln(stderr, err)
		return 2
	}
	defer t.remove()
	var survived int
	switch args[0] {
	case "planted":
		survived, err = t.tryPlanted(ctx, stdout, pattern, *nights, *seed, *limit)
	case "safety":
		survived, err = t.trySafety(ctx, stdout, &choice{pattern, *skip, *sample, *seed, *limit, *workers})
	default:
		fmt.Fprint(stderr, usage)
		return 2
	}
	switch {
	case err != nil:
		fmt.Fprintln(stderr, err)
		return 2
	case survived > 0:
		return 1
	}
	return 0
}

// tree is the module's source and a place for what is built from it.
type tree struct {
	root string // where go.mod is
	temp string

	building sync.Mutex
}

// newTree looks for go.mod from a folder upward.
func newTree(from string) (*tree, error) {
	dir, err := filepath.Abs(from)
	if err != nil {
		return nil, err
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		above := filepath.Dir(dir)
		if above == dir {
			return nil, errors.New("no go.mod here or above: run this from the repository")
		}
		dir = above
	}
	temp, err := os.MkdirTemp("", "mutants")
	if err != nil {
		return nil, err
	}
	return &tree{root: dir, temp: temp}, nil
}

func (t *tree) remove() { _ = os.RemoveAll(t.temp) }
