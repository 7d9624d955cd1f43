package main

import (
	"bytes"
	"flag"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"leat/controller/desk"
)

func TestFlagsMayStandBeforeBetweenAndBehindTheArguments(t *testing.T) {
	for _, c := range []struct{ line, words, note string }{
		{"-note x arm", "arm", "x"}, {"arm -note x", "arm", "x"}, {"add -note=x mara", "add mara", "x"}, {"add mara", "add mara", ""}, {"-note x -- add -mara", "add -mara", "x"}, {"", "", ""},
	} {
		flags := flag.NewFlagSet("leat mode", flag.ContinueOnError)
		note := flags.String("note", "", "")
		if code, done := parseFlags(flags, strings.Fields(c.line), io.Discard, io.Discard, 2); done {
			t.Errorf("%q: exit code %d", c.line, code)
		}
		if !slices.Equal(flags.Args(), strings.Fields(c.words)) || *note != c.note {
			t.Errorf("%q: arguments %q, note %q", c.line, flags.Args(), *note)
		}
	}
	var errs bytes.Buffer
	flags := flag.NewFlagSet("leat mode", flag.ContinueOnError)
	if code, done := parseFlags(flags, []string{"arm", "-nope"}, io.Discard, &errs, 1); !done || code != 2 || !strings.Contains(errs.String(), "-nope") {
		t.Errorf("an unknown flag behind the verb: %d %v %q", code, done, errs.String())
	}
}

func TestWhereAPictureMayBeWrittenIsKnownBeforeTheWorkAndChangesNothing(t *testing.T) {
	folder := t.TempDir()
	there := filepath.Join(folder, "there.svg")
	if err := os.WriteFile(there, []byte("of yesterday"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := desk.MayWrite(there); err != nil {
		t.Error(err)
	}
	if text, err := os.ReadFile(there); err != nil || string(text) != "of yesterday" {
		t.Errorf("the picture that was there is %q, %v", text, err)
	}
	fresh := filepath.Join(folder, "fresh.svg")
	if err := desk.MayWrite(fresh); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(fresh); err == nil {
		t.Error("the question left a file")
	}
	for _, bad := range []string{filepath.Join(folder, "none", "x.svg"), folder} {
		if err := desk.MayWrite(bad); err == nil || !strings.Contains(err.Error(), "folder that is there") {
			t.Errorf("%s: %v", bad, err)
		}
	}
}
