package controller_test

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode"
)

// A script is a night as a file of testdata/scenario tells it: what happens and why,
// what it is about, what it shows, and then line by line what comes in and what goes
// out. README.md beside the files says how to read and write them.
type script struct {
	about []string // interlocks of the table, or rules of the ledger
	shows []string
	given []deed // settings other than the farm's
	lines []scriptLine
}

// scriptLine is one line that a person wrote, with what followed from it.
type scriptLine struct {
	text    string
	at      time.Duration
	deed    deed     // nil for a comment, the head and an empty line
	outputs []string // as they stand in the file
}

// deed is what an input line does to the night.
type deed func(*player) error

// What a script may show.
const (
	showOrders     = "orders"
	showInterlocks = "interlocks" // without it only those that it is about
	showAlarms     = "alarms"     // the same
	showAnswers    = "answers"
	showRows       = "rows"
)

var (
	headLine   = regexp.MustCompile(`^(about|shows|given): (.+)$`)
	inputLine  = regexp.MustCompile(`^at (\d\d:\d\d:\d\d)  (\S.*)$`)
	outputLine = regexp.MustCompile(`^   (\d\d:\d\d:\d\d)  -> (\S.*)$`)
)

// readScript reads a scenario file. It is strict: a line that it does not know is an
// error that names the line, because a misspelt input would be a night without it.
func readScript(text string) (*script, error) {
	s := &script{}
	if !strings.HasSuffix(text, "\n") {
		return nil, fmt.Errorf("the last line has no end")
	}
	prose, ended, last := true, false, time.Duration(0)
	for n, line := range strings.Split(strings.TrimSuffix(text, "\n"), "\n") {
		if strings.ContainsFunc(line, func(r rune) bool { return !unicode.IsPrint(r) }) || strings.HasSuffix(line, " ") {
			return nil, fmt.Errorf("line %d: it ends in a space or holds something that cannot be printed", n+1)
		}
		if ended && !outputLine.MatchString(line) {
			return nil, fmt.Errorf("line %d: the night has ended", n+1)
		}
		var err error
		switch {
		case strings.HasPrefix(line, "# "):
			s.lines = append(s.lines, scriptLine{text: line})
		case prose && n == 0:
			err = fmt.Errorf("a scenario begins with a sentence, after \"# \", that says what happens and why")
		case line == "":
			prose = false
			s.lines = append(s.lines, scriptLine{})
		case headLine.MatchString(line):
			if !prose {
				err = fmt.Errorf("%q stands above the first empty line", line)
				break
			}
			err = s.head(line)
		case inputLine.MatchString(line):
			prose = false
			if last, err = s.input(line, last); err == nil {
				ended = strings.HasSuffix(line, "  "+nightEnds)
			}
		case outputLine.MatchString(line):
			if at := &s.lines[len(s.lines)-1]; at.deed == nil {
				err = fmt.Errorf("what goes out stands below what came in")
			} else if _, err = clockTime(outputLine.FindStringSubmatch(line)[1]); err == nil {
				at.outputs = append(at.outputs, line)
			}
		default:
			err = fmt.Errorf("%q is neither a comment, nor a head, nor \"at 00:00:00  what comes in\", nor \"   00:00:00  -> what goes out\"", line)
		}
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n+1, err)
		}
	}
	switch {
	case len(s.about) == 0 || len(s.shows) == 0:
		return nil, fmt.Errorf("about: and shows: are missing")
	case !ended:
		return nil, fmt.Errorf("the last thing that comes in is %q", nightEnds)
	}
	return s, nil
}

// head reads about:, shows: and given: lines.
func (s *script) head(line string) error {
	parts := headLine.FindStringSubmatch(line)
	s.lines = append(s.lines, scriptLine{text: line})
	switch parts[1] {
	case "given":
		d, err := findDeed("settings: " + parts[2])
		s.given = append(s.given, d)
		return err
	case "shows":
		for _, name := range strings.Split(parts[2], ", ") {
			switch name {
			case showOrders, showInterlocks, showAlarms, showAnswers, showRows:
				s.shows = append(s.shows, name)
			default:
				return fmt.Errorf("%q is not among %s, %s, %s, %s and %s", name, showOrders, showInterlocks, showAlarms, showAnswers, showRows)
			}
		}
	default:
		s.about = append(s.about, strings.Split(parts[2], ", ")...)
	}
	return nil
}

// input reads a line of what comes in; it is no earlier than the one before.
func (s *script) input(line string, last time.Duration) (time.Duration, error) {
	parts := inputLine.FindStringSubmatch(line)
	at, err := clockTime(parts[1])
	switch {
	case err != nil:
		return last, err
	case at < last:
		return last, fmt.Errorf("%s comes after %s", parts[1], clockText(last))
	}
	d, err := findDeed(parts[2])
	s.lines = append(s.lines, scriptLine{text: line, at: at, deed: d})
	return at, err
}

// String is the script as a file, with the outputs that it holds now.
func (s *script) String() string {
	var b strings.Builder
	for i := range s.lines {
		b.WriteString(s.lines[i].text + "\n")
		for _, out := range s.lines[i].outputs {
			b.WriteString(out + "\n")
		}
	}
	return b.String()
}

func findDeed(text string) (deed, error) {
	for _, v := range verbs {
		if parts := v.pattern.FindStringSubmatch(text); parts != nil {
			return v.read(parts[1:])
		}
	}
	return nil, fmt.Errorf("nothing is known that comes in as %q", text)
}

func clockTime(text string) (time.Duration, error) {
	var h, m, s int
	if _, err := fmt.Sscanf(text, "%2d:%2d:%2d", &h, &m, &s); err != nil || m > 59 || s > 59 || clockText(time.Duration(h*3600+m*60+s)*time.Second) != text {
		return 0, fmt.Errorf("%q is no time after the start", text)
	}
	return time.Duration(h*3600+m*60+s) * time.Second, nil
}

func clockText(d time.Duration) string {
	s := int(d / time.Second)
	return fmt.Sprintf("%02d:%02d:%02d", s/3600, s/60%60, s%60)
}

const scenarioFolder = "../testdata/scenario"

func scenarioFiles(t testing.TB) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(scenarioFolder, "*.txt"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no scenarios in %s: %v", scenarioFolder, err)
	}
	return files
}

func readScenario(t testing.TB, file string) (*script, string) {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	s, err := readScript(string(text))
	if err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	return s, string(text)
}

func TestScriptsThatCannotBeReadAreRefusedWithTheLine(t *testing.T) {
	head := "# A sentence.\nabout: leak\nshows: orders\n\n"
	for text, want := range map[string]string{
		"about: leak\n": "line 1: a scenario begins with a sentence",
		head + "at 00:00:00  leek reads 1\nat 00:00:01  the night ends\n":              "line 5: nothing is known that comes in as",
		head + "at 00:00:09  leak reads 1\nat 00:00:08  the night ends\n":              "line 6: 00:00:08 comes after 00:00:09",
		head + "at 00:61:00  the night ends\n":                                         "line 5: \"00:61:00\" is no time",
		head + "at 00:00:09  leak reads 1\n":                                           "the last thing that comes in",
		head + "at 00:00:09  the night ends\nat 00:00:10  leak reads 1\n":              "line 6: the night has ended",
		head + "   00:00:09  -> stop acid\nat 00:00:10  the night ends\n":              "line 5: what goes out stands below what came in",
		head + "at 00:00:09 the night ends\n":                                          "line 5: \"at 00:00:09 the night ends\" is neither",
		"# A sentence.\nabout: leak\nshows: doses\n\nat 00:00:00  the night ends\n":    "line 3: \"doses\" is not among",
		"# A sentence.\nshows: orders\n\nat 00:00:00  the night ends\n":                "about: and shows: are missing",
		head + "at 00:00:00  pH reads six\nat 00:00:01  the night ends\n":              "line 5: nothing is known",
		head + "at 00:00:00  Ada asks for tea\nat 00:00:01  the night ends\n":          "line 5: nothing is known",
		head + "at 00:00:00  fault none-such for 9m\nat 00:00:01  the night ends\n":    "line 5: no fault",
		head + "given: leak reads 1\nat 00:00:01  the night ends\n":                    "line 5: \"given: leak reads 1\" stands above",
		head + "at 00:00:01  the night ends":                                           "the last line has no end",
		head + "at 00:00:01  the night ends \n":                                        "line 5: it ends in a space",
		"# A sentence.\nabout: leak\nshows: orders\ngiven: gold\n\nat 00:00:01  the\n": "line 4: nothing is known",
	} {
		if _, err := readScript(text); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

func FuzzScript(f *testing.F) {
	for _, file := range scenarioFiles(f) {
		_, text := readScenario(f, file)
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := readScript(text)
		if err == nil && s.String() != text {
			t.Errorf("read and written again it differs:\n%s", s.String())
		}
	})
}
