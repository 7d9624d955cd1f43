package web

import (
	"bytes"
	"embed"
	"html"
	"io/fs"
	"maps"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"sync"
	"unicode"

	"leat/safety"
)

//go:embed language/*.txt
var catalogs embed.FS

// language says the pages' texts in another language. Its catalog holds each text as the
// page says it in English, and below it, set in by a tab, the other one. A hole {} stands for
// a part that is kept, {t} for one that is translated too; the translation names them {1}, {2}.
type language struct {
	name     string
	texts    map[string]string
	phrases  []phrase
	holes    func(text string) // told of each text that the catalog lacks; nil = nobody is
	verbatim func(text string) string
	lately   *lately
}

// lately keeps what was said lately: most of a page is what it was.
type lately struct {
	sync.Mutex
	said map[string]string
}

// latelyMost bounds what is kept of texts that change.
const latelyMost = 4096

type phrase struct {
	form    *regexp.Regexp
	inner   []bool // which holes are translated
	say     string
	literal int // letters that are none of a hole
}

const languageCookie = "leat_language"

// languages are those of the catalogs, by name; English is none.
var languages = readLanguages()

func readLanguages() map[string]*language {
	all := map[string]*language{}
	names, _ := fs.Glob(catalogs, "language/*.txt") // embedded: the pattern is right
	for _, file := range names {
		body, _ := catalogs.ReadFile(file)
		name := strings.TrimSuffix(strings.TrimPrefix(file, "language/"), ".txt")
		all[name] = newLanguage(name, string(body))
	}
	return all
}

var hole = regexp.MustCompile(`\\\{t?\\\}`)

func newLanguage(name, catalog string) *language {
	l := &language{name: name, texts: map[string]string{}, lately: &lately{said: map[string]string{}}, verbatim: func(text string) string { return text }}
	if name == "de" {
		l.verbatim = germanFigures
	}
	key := ""
	for _, line := range strings.Split(catalog, "\n") {
		said, is := strings.CutPrefix(line, "\t")
		switch {
		case !is:
			key = line
		case key != "" && !strings.HasPrefix(key, "#"):
			l.learn(key, said)
		}
	}
	slices.SortStableFunc(l.phrases, func(a, b phrase) int { return b.literal - a.literal })
	return l
}

// learn takes one text. The beginning of a sentence that explains itself stands alone too.
func (l *language) learn(key, said string) {
	if !strings.Contains(key, "{") {
		l.texts[plainKey(key)] = said
		for _, end := range []string{": ", "; ", ". "} {
			head, _, split := strings.Cut(key, end)
			tell, _, other := strings.Cut(said, end)
			if _, known := l.texts[plainKey(head)]; split && other && !known {
				l.texts[plainKey(head)] = tell
			}
		}
		return
	}
	key = strings.TrimSuffix(key, ".")
	p := phrase{say: strings.TrimSuffix(said, ".")}
	form := regexp.QuoteMeta(key)
	p.literal = len(form)
	form = hole.ReplaceAllStringFunc(form, func(h string) string {
		p.inner = append(p.inner, strings.Contains(h, "t"))
		p.literal -= len(h)
		return `((?:[^.]|\.[^ ])+?)` // within one sentence
	})
	p.form = regexp.MustCompile("^(?i:" + form + ")$")
	l.phrases = append(l.phrases, p)
}

// plainKey is a text without what says nothing: its last full stop, whether it begins a
// sentence.
func plainKey(text string) string {
	text = strings.TrimSuffix(strings.Join(strings.Fields(text), " "), ".")
	return strings.ToLower(text)
}

// deepest bounds how far a text is taken apart.
const deepest = 6

// say is a text in the language; what the catalog lacks stays as it is.
func (l *language) say(text string, depth int) (string, bool) {
	if !strings.ContainsFunc(text, unicode.IsLetter) {
		return l.verbatim(text), true
	}
	key := strings.Join(strings.Fields(text), " ")
	if _, cause := safety.ParseCause(key); cause || figures.MatchString(key) {
		return l.verbatim(text), true // a cause's own name is the same everywhere
	}
	if said, known := l.texts[plainKey(key)]; known {
		if strings.HasSuffix(key, ".") && !strings.HasSuffix(said, ".") {
			said += "."
		} else if !strings.HasSuffix(key, ".") {
			said = strings.TrimSuffix(said, ".")
		}
		return said, true
	}
	if depth >= deepest {
		return text, false
	}
	stop := ""
	bare := key
	if strings.HasSuffix(bare, ".") {
		bare, stop = bare[:len(bare)-1], "."
	}
	for i := range l.phrases {
		if said, ok := l.phrases[i].fill(l, bare, depth); ok {
			return said + stop, true
		}
	}
	return l.apart(key, depth)
}

// apart takes a text of several sentences or parts apart. Each part that is known is said.
func (l *language) apart(text string, depth int) (string, bool) {
	for _, between := range []string{". ", "; ", ": ", " · ", ", "} {
		first, rest, split := strings.Cut(text, between)
		if !split {
			continue
		}
		if between == ". " {
			first += "."
		}
		a, knownA := l.say(first, depth+1)
		b, knownB := l.say(rest, depth+1)
		if between == ": " && !strings.Contains(first, " ") {
			a, knownA = first, true // a name
		}
		if knownA && knownB || between == ". " && (knownA || knownB) {
			if between == ". " {
				between = " "
			}
			return a + between + b, knownA && knownB
		}
	}
	trimmed := strings.TrimFunc(text, func(r rune) bool { return !unicode.IsLetter(r) })
	if trimmed != text && trimmed != "" {
		at := strings.Index(text, trimmed)
		if said, ok := l.say(trimmed, deepest); ok {
			return l.verbatim(text[:at]) + said + l.verbatim(text[at+len(trimmed):]), true
		}
	}
	return text, false
}

// fill says a phrase with its holes filled.
func (p *phrase) fill(l *language, text string, depth int) (string, bool) {
	parts := p.form.FindStringSubmatch(text)
	if parts == nil {
		return "", false
	}
	said := p.say
	for i, inner := range p.inner {
		part := l.verbatim(parts[i+1])
		if inner {
			told, ok := l.say(parts[i+1], depth+1)
			if !ok {
				return "", false
			}
			part = told
		}
		said = strings.ReplaceAll(said, "{"+string(rune('1'+i))+"}", part)
	}
	return said, true
}

// figures are texts of figures, units and symbols alone.
var figures = regexp.MustCompile(`^(?:(?:pH|EC|mL|L|g|mg/L|mmol/L|mS/cm|CF|UTC|s|h|min|NO3|NH4|N|P|K|Ca|Mg|S|Fe|Mn|Zn|B|Cu|Mo|Na|Cl|H[0-9]+-[0-9]+)\b|[-+–→0-9.,:%°C()×± ·/])+$`)

var (
	germanDecimal = regexp.MustCompile(`(^|[^0-9.])([0-9]+)\.([0-9]+)($|[^0-9.])`)
	germanMonths  = strings.NewReplacer(" Mar", " Mär", " May", " Mai", " Oct", " Okt", " Dec", " Dez")
	anyMonth      = regexp.MustCompile(`[0-9] (Mar|May|Oct|Dec)\b`)
)

// germanFigures writes figures with the comma and months as they are called.
func germanFigures(text string) string {
	text = germanDecimal.ReplaceAllString(text, "$1$2,$3$4")
	return anyMonth.ReplaceAllStringFunc(text, germanMonths.Replace)
}

// spoken are the parts of a page that hold no text of the page's own.
var spoken = map[string]bool{"script": true, "style": true, "code": true, "textarea": true}

// labels are the attributes that are read by people, some of them by way of the script.
var labels = regexp.MustCompile(`(aria-label|data-say-[a-z]+)="([^"]*)"`)

// page says a whole page: its texts and labels, but for names, which are people's own.
func (l *language) page(page []byte, names map[string]bool) []byte {
	var out bytes.Buffer
	out.Grow(len(page) + len(page)/4)
	silent := ""
	for len(page) > 0 {
		at := bytes.IndexByte(page, '<')
		if at < 0 {
			at = len(page)
		}
		if text := string(page[:at]); silent == "" {
			out.WriteString(l.run(text, names))
		} else {
			out.WriteString(text)
		}
		page = page[at:]
		end := bytes.IndexByte(page, '>')
		if end < 0 {
			out.Write(page)
			break
		}
		tag := string(page[:end+1])
		page = page[end+1:]
		name := strings.ToLower(strings.TrimPrefix(strings.FieldsFunc(tag[1:], func(r rune) bool { return r == ' ' || r == '>' })[0], "/"))
		switch {
		case spoken[name] && !strings.HasPrefix(tag, "</"):
			silent = name
		case name == silent:
			silent = ""
		}
		if name == "html" {
			tag = strings.Replace(tag, `lang="en"`, `lang="`+l.name+`"`, 1)
		}
		out.WriteString(labels.ReplaceAllStringFunc(tag, func(label string) string {
			name, text, _ := strings.Cut(label[:len(label)-1], `="`)
			return name + `="` + l.run(text, names) + `"`
		}))
	}
	return sized.ReplaceAllFunc(out.Bytes(), func(sentence []byte) []byte {
		part := sized.FindSubmatch(sentence)
		return []byte(string(part[1]) + letters(html.UnescapeString(string(part[3]))) + string(part[2]) + string(part[3]))
	})
}

// sized is a sentence that is written the larger the shorter it is: in another language it has
// another length.
var sized = regexp.MustCompile(`(<span class=")(?:brief|middle|long|full)(">(?:<span class="mark[^>]*>[^<]*</span> )?)([^<]*)`)

// run says one run of text, with the space around it.
func (l *language) run(raw string, names map[string]bool) string {
	trimmed := strings.TrimSpace(raw)
	text := html.UnescapeString(trimmed)
	if text == "" || names[text] {
		return raw
	}
	at := strings.Index(raw, trimmed)
	l.lately.Lock()
	defer l.lately.Unlock()
	if said, kept := l.lately.said[text]; kept && l.holes == nil {
		return raw[:at] + said + raw[at+len(trimmed):]
	}
	whose, rest, named := strings.Cut(text, ": ")
	if named = named && names[whose]; !named {
		rest = text
	}
	said, known := l.say(rest, 0)
	if named {
		said = whose + ": " + said
	}
	if len(l.lately.said) >= latelyMost {
		clear(l.lately.said)
	}
	l.lately.said[text] = html.EscapeString(said)
	if !known {
		known = figures.MatchString(nameless(text, names))
	}
	if !known && l.holes != nil {
		l.holes(text)
	}
	return raw[:at] + html.EscapeString(said) + raw[at+len(trimmed):]
}

// nameless is a text without the names in it.
func nameless(text string, names map[string]bool) string {
	longest := slices.SortedFunc(maps.Keys(names), func(a, b string) int { return len(b) - len(a) })
	for _, name := range longest {
		if len(name) > 2 {
			text = strings.ReplaceAll(text, name, "")
		}
	}
	return text
}

// speech keeps in which language somebody reads the page. A browser's own choice is a cookie; a
// person's goes with them to every device on which they sign in.
type speech struct{ *Server }

func (sp speech) choose(w http.ResponseWriter, r *http.Request) {
	chosen := r.FormValue("language")
	if languages[chosen] == nil {
		chosen = "en"
	}
	sp.keep(w, chosen)
	if who, ok := sp.who(r); ok && who.hash != "" && sp.options.Speak != nil { // a one-time link is nobody's
		if err := sp.options.Speak(who.name, chosen); err != nil {
			sp.options.Audit(who.name, "page", "the language was not kept", err.Error())
		}
	}
	http.Redirect(w, r, insideOrSignIn(r.FormValue("to")), http.StatusSeeOther)
}

func (sp speech) keep(w http.ResponseWriter, name string) {
	http.SetCookie(w, &http.Cookie{Name: languageCookie, Value: name, Path: "/", HttpOnly: true, SameSite: http.SameSiteLaxMode, MaxAge: int(phoneHolds.Seconds())})
}

func insideOrSignIn(path string) string {
	if path == "/signin" {
		return path
	}
	return inside(path)
}

// languageOf is the language that a browser's user chose here, or that the browser asks for
// first of those there are; nil = English.
func languageOf(r *http.Request) *language {
	if cookie, err := r.Cookie(languageCookie); err == nil {
		return languages[cookie.Value]
	}
	for _, part := range strings.Split(r.Header.Get("Accept-Language"), ",") {
		tag, _, _ := strings.Cut(strings.TrimSpace(part), ";")
		tag, _, _ = strings.Cut(strings.ToLower(tag), "-")
		if tag == "en" {
			return nil
		}
		if l := languages[tag]; l != nil {
			return l
		}
	}
	return nil
}
