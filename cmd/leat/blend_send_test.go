package main

import (
	"bytes"
	"strings"
	"testing"

	"leat/controller/payload"
)

const goodSheet = "NO3-N=168 mg/L, NH4-N=11 mg/L, P=40 mg/L, K=275 mg/L, Ca=115 mg/L, Mg=16 mg/L, S=23 mg/L, pH=5.8, EC=1.8 mS/cm"

func lab(args ...string) (code int, stdout, stderr string) {
	var out, err bytes.Buffer
	code = dispatch(append([]string{"blend", "lab"}, args...), &out, &err)
	return code, out.String(), err.String()
}

func TestBlendLabPrintsTheMessageThatTheDaemonReads(t *testing.T) {
	code, out, complaint := lab("-analysis", goodSheet, "-payload", "-sampled", "2026-01-01T09:00:00Z", "-note", "sheet 12")
	if code != 0 {
		t.Fatal(complaint)
	}
	ask, err := payload.ParseAnalysis([]byte(out))
	if err != nil || ask.Note != "sheet 12" || ask.Sampled.IsZero() || ask.Analysis.PH != 5.8 {
		t.Errorf("%q reads back as %+v, %v", out, ask, err)
	}
}

func TestBlendLabSendsNothingThatWouldBeRefused(t *testing.T) {
	for what, c := range map[string]struct {
		args []string
		code int
		want string
	}{
		"charges that do not balance": {[]string{"-analysis", strings.Replace(goodSheet, "K=275", "K=27", 1), "-payload"}, 1, "have it repeated"},
		"no sheet":                    {[]string{"-payload"}, 2, "-analysis"},
		"a day without a time":        {[]string{"-analysis", goodSheet, "-payload", "-sampled", "yesterday"}, 2, "2026-01-01T09:00:00Z"},
		"no configuration":            {[]string{"-analysis", goodSheet, "-send"}, 2, "-config"},
		"no daemon":                   {[]string{"-analysis", goodSheet, "-send", "-config", "../../deploy/leat.toml", "-tank", "north"}, 1, "leat run"},
		"no such tank":                {[]string{"-analysis", goodSheet, "-send", "-config", "../../deploy/leat.toml", "-tank", "south"}, 1, "north"},
	} {
		if code, _, complaint := lab(c.args...); code != c.code || !strings.Contains(complaint, c.want) {
			t.Errorf("%s: exit %d, %q; want %d and %q", what, code, complaint, c.code, c.want)
		}
	}
}
