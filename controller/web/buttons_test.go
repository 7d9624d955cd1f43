package web

import (
	"context"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"leat/controller"
)

// commandNamed is a command as the core's texts name it.
var commandNamed = regexp.MustCompile(`leat (?:mode|act|calibrate|plan|solution|user|ledger|check)(?:-pump|\b)(?: [a-z][a-z-]+)?`)

// offPage are the commands that no page has, and why.
var offPage = map[string]string{
	"leat mode raise-epoch": "only the machine itself may",
	"leat check":            "of a file that only the machine holds",
	"leat check set":        "the same: run leat check, set what it prints",
}

// Each command that an answer or a schedule names has a button, and each label is that of one.
func TestWhatTheCoreNamesByItsCommandIsAButtonOnThePage(t *testing.T) {
	sources, err := filepath.Glob("../*.go")
	if err != nil || len(sources) < 50 {
		t.Fatalf("the core has %d files: %v", len(sources), err)
	}
	named := map[string]bool{}
	for _, source := range sources {
		if strings.HasSuffix(source, "_test.go") {
			continue
		}
		body, err := os.ReadFile(source)
		if err != nil {
			t.Fatal(err)
		}
		for _, line := range strings.Split(string(body), "\n") {
			code, _, _ := strings.Cut(line, "// ")
			for _, command := range commandNamed.FindAllString(code, -1) {
				said := labelled(command)
				if named[command] = true; strings.Contains(said, "leat ") && offPage[command] == "" {
					t.Errorf("%s names %q, which is %q on a page", source, command, said)
				}
			}
		}
	}
	if len(named) < len(buttons) {
		t.Errorf("the core names %v alone, and %d have a button", named, len(buttons))
	}
	var pages strings.Builder
	files, _ := fs.Glob(files, "page/*.html")
	for _, file := range files {
		body, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		pages.Write(body)
	}
	for command, label := range buttons {
		if !strings.Contains(pages.String(), "<button>"+label+"</button>") {
			t.Errorf("no page has a button %q for %s", label, command)
		}
	}
}

func TestAnAnswerOnThePageNamesTheButtonAndItsFieldKeepsWhatWasTyped(t *testing.T) {
	h := newHouse(t, func(o *Options) {
		o.Ask = func(_ context.Context, r controller.Request) (controller.Answer, error) {
			return controller.Answer{Kind: r.Kind, Text: "a fill is under way; leat mode observe ends it"}, nil
		}
	})
	b := h.browser(t)
	b.signIn("mara", password)
	_, page := b.post("/ask", url.Values{"do": {"pause"}, "tank": {"north"}, "note": {"after leat mode resume"}})
	want(t, page, "a fill is under way; “Observe only” ends it", `value="after leat mode resume"`)
	v := sampleView()
	v.Tanks[0].Schedule = "holiday spring is over since 2026-02-28 18:00: confirm its end with leat act end-holiday"
	v.Tanks[0].Plan = &controller.Schedule{}
	h.show(v)
	_, page = b.get("/tank/north/schedule")
	want(t, page, "confirm its end with “End the holiday”")
}
