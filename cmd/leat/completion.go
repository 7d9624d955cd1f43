package main

import (
	"flag"
	"fmt"
	"io"
	"leat/controller/desk"
	"slices"
	"strings"
)

// completeWord is the word by which the scripts ask: leat complete WORD…
const completeWord = "complete"

const completionUsage = `usage: leat completion bash|zsh|fish|man

A script with which the shell completes commands, verbs, flags and names, or the manual page. The scripts ask the
program itself, so that they never fall behind it.

  bash  source <(leat completion bash)         in ~/.bashrc
  zsh   source <(leat completion zsh)          in ~/.zshrc, after compinit
  fish  leat completion fish | source          in ~/.config/fish/config.fish
  man   leat completion man >leat.1            in a folder man1 of the manual

`

func completionCommand(flags *flag.FlagSet) task {
	verbs := []string{"bash", "zsh", "fish", "man"}
	return task{usage: completionUsage, words: 1, verbs: verbs, do: func(stdout, _ io.Writer) error {
		script, known := desk.CompletionScripts[flags.Arg(0)]
		switch {
		case flags.Arg(0) == "man":
			script = manual()
		case !known:
			return desk.Misuse("%q: want one of %s", flags.Arg(0), strings.Join(verbs, ", "))
		}
		_, err := io.WriteString(stdout, script)
		return err
	}}
}

// candidate is what a word may become.
type candidate struct{ word, does string }

// candidates are what the last of the words may become; none where it is for the person to
// know, or the name of a file.
func candidates(words []string) (all []candidate) {
	begun := words[len(words)-1]
	before := words[:len(words)-1]
	add := func(word, does string) {
		if strings.HasPrefix(word, begun) {
			all = append(all, candidate{word, does})
		}
	}
	for _, c := range commands() {
		name := strings.Fields(c.name)
		if last := len(name) - 1; slices.Equal(name[:last], before) {
			add(name[last], c.does)
		}
	}
	c, rest, ok := called(before)
	if !ok {
		return all
	}
	flags, task := c.flags()
	if len(rest) > 0 {
		if f := flags.Lookup(strings.TrimLeft(rest[len(rest)-1], "-")); f != nil && strings.HasPrefix(rest[len(rest)-1], "-") && !isSwitch(f) {
			all = nil
			for _, value := range task.values[f.Name] {
				add(value, "")
			}
			return all
		}
	}
	if !slices.ContainsFunc(rest, func(word string) bool { return slices.Contains(task.verbs, word) }) {
		for _, verb := range task.verbs {
			add(verb, "")
		}
	}
	if strings.HasPrefix(begun, "-") || len(all) == 0 && begun == "" && task.words == 0 {
		flags.VisitAll(func(f *flag.Flag) {
			_, does := flag.UnquoteUsage(f)
			add("-"+f.Name, does)
		})
	}
	return all
}

// isSwitch says whether a flag stands without a value.
func isSwitch(f *flag.Flag) bool {
	b, ok := f.Value.(interface{ IsBoolFlag() bool })
	return ok && b.IsBoolFlag()
}

// printCandidates answers a shell: a line for each, with what it does behind a tab.
func printCandidates(words []string, stdout io.Writer) {
	if len(words) == 0 {
		words = []string{""}
	}
	for _, c := range candidates(words) {
		fmt.Fprintf(stdout, "%s\t%s\n", c.word, strings.ReplaceAll(c.does, "\n", " "))
	}
}

// manual is the page for man: the help of every command as it is printed.
func manual() string {
	var out strings.Builder
	verbatim := func(text string) {
		text = strings.ReplaceAll(text, `\`, `\e`)
		for _, line := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
			fmt.Fprintln(&out, `\&`+line) // a line that begins with a dot is no request
		}
	}
	fmt.Fprintf(&out, ".TH LEAT 1 \"\" \"leat %s\"\n.SH NAME\nleat \\- keep pH and EC of recirculated nutrient solution at setpoint\n.SH COMMANDS\n.nf\n", version)
	var help strings.Builder
	usage(&help)
	verbatim(help.String())
	for _, c := range commands() {
		flags, _ := c.flags()
		help.Reset()
		flags.SetOutput(&help)
		flags.Usage()
		fmt.Fprintf(&out, ".fi\n.SH LEAT %s\n.nf\n", strings.ToUpper(c.name))
		verbatim(help.String())
	}
	return out.String()
}
