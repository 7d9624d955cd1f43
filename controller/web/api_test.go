package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"leat/controller"
)

// shelf keeps tokens in memory.
type shelf struct{ all sync.Map }

func (s *shelf) Find(hash string) (found Token, ok bool, _ error) {
	s.all.Range(func(_, t any) bool {
		if t.(Token).Hash == hash {
			found, ok = t.(Token), true
		}
		return !ok
	})
	return found, ok, nil
}

func (s *shelf) List() (all []Token, _ error) {
	s.all.Range(func(_, t any) bool { all = append(all, t.(Token)); return true })
	return all, nil
}

func (s *shelf) Add(t Token) error { s.all.Store(t.Name, t); return nil }
func (s *shelf) End(name string) error {
	if _, had := s.all.LoadAndDelete(name); !had {
		return fmt.Errorf("there is no such token")
	}
	return nil
}

// caller is a program with a token.
type caller struct {
	*browser
	secret string
}

func (h *house) caller(t *testing.T, tokens *shelf, role controller.Role) *caller {
	t.Helper()
	c := &caller{h.browser(t), tokenBegins + role.String() + t.Name()}
	_ = tokens.Add(Token{Name: role.String(), Role: role, Hash: hashOf(c.secret), Until: time.Now().Add(time.Hour)})
	return c
}

func (c *caller) call(method, path, body string) (int, string) {
	request, err := http.NewRequest(method, c.base+path, strings.NewReader(body))
	if err != nil {
		c.t.Fatal(err)
	}
	request.Header.Set("Authorization", "Bearer "+c.secret)
	return c.read(c.Do(request))
}

func (c *caller) id() string {
	_, text := c.call("GET", "/api/v1/once", "")
	var once apiOnce
	_ = json.Unmarshal([]byte(text), &once)
	return once.Once
}

func tokened(t *testing.T) (*house, *shelf) {
	tokens := &shelf{}
	h := newHouse(t, func(o *Options) { o.Tokens = tokens })
	return h, tokens
}

// fits says what of an answer is not as its schema says.
func fits(schema map[string]any, v any, at string) (faults []string) {
	fault := func(text string) { faults = append(faults, at+" "+text) }
	switch schema["type"] {
	case "object":
		object, ok := v.(map[string]any)
		if !ok {
			fault("is no object")
			return faults
		}
		properties := schema["properties"].(map[string]any)
		for name, inner := range object {
			if properties[name] == nil {
				fault(name + " is not described")
				continue
			}
			faults = append(faults, fits(properties[name].(map[string]any), inner, at+"."+name)...)
		}
		for _, name := range schema["required"].([]any) {
			if _, has := object[name.(string)]; !has {
				fault("lacks " + name.(string))
			}
		}
	case "array":
		list, ok := v.([]any)
		if !ok {
			fault("is no array")
		}
		for i, inner := range list {
			faults = append(faults, fits(schema["items"].(map[string]any), inner, fmt.Sprintf("%s[%d]", at, i))...)
		}
	case "string":
		if _, ok := v.(string); !ok {
			fault("is no text")
		}
	case "number":
		if _, ok := v.(float64); !ok {
			fault("is no number")
		}
	case "boolean":
		if _, ok := v.(bool); !ok {
			fault("is no truth value")
		}
	}
	return faults
}

// The description is read as a program reads it, and each of its paths is asked.
func TestWhatProgramsAreAnsweredIsAsTheDescriptionSays(t *testing.T) {
	h, tokens := tokened(t)
	h.show(fourTanks())
	c := h.caller(t, tokens, controller.RoleOperate)
	_, text := h.browser(t).get("/api/v1/openapi.json")
	var description struct {
		OpenAPI string
		Paths   map[string]map[string]struct {
			Responses map[string]struct {
				Content map[string]struct{ Schema map[string]any }
			}
			Body *struct{} `json:"requestBody"`
		}
	}
	if err := json.Unmarshal([]byte(text), &description); err != nil || description.OpenAPI != "3.1.0" || len(description.Paths) != len(apiRoutes) {
		t.Fatalf("%v: %.200s", err, text)
	}
	for path, deeds := range description.Paths {
		for method, deed := range deeds {
			bodies := map[string]string{"200": ""}
			if deed.Body != nil {
				ask := func(value string) string {
					return fmt.Sprintf(`{"once":%q,"do":"setpoint","tank":"north","quantity":"ph","value":%s}`, c.id(), value)
				}
				bodies = map[string]string{"200": ask(`"5.9"`), "422": ask("58"), "400": ask(`"five"`), "409": `{"do":"stop"}`}
			}
			for status, body := range bodies {
				code, answer := c.call(strings.ToUpper(method), path, body)
				var v any
				if err := json.Unmarshal([]byte(answer), &v); err != nil || fmt.Sprint(code) != status {
					t.Errorf("%s %s: %d %v, want %s: %.200s", method, path, code, err, status, answer)
					continue
				}
				for _, fault := range fits(deed.Responses[status].Content["application/json"].Schema, v, "answer") {
					t.Errorf("%s %s, %s: %s", method, path, status, fault)
				}
			}
		}
	}
}

func TestAProgramPassesTheSameChecksAsAFormAndIsHeardOnce(t *testing.T) {
	h, tokens := tokened(t)
	c, looker := h.caller(t, tokens, controller.RoleOperate), h.caller(t, tokens, controller.RoleView)
	_, text := c.call("GET", "/api/v1/state", "")
	if !strings.Contains(text, `"standing":"needs you tonight"`) || !strings.Contains(text, `"value":5.93`) {
		t.Errorf("the state: %s", text)
	}
	body := fmt.Sprintf(`{"once":%q,"do":"setpoint","tank":"north","quantity":"ph","value":5.9,"note":"by night"}`, c.id())
	for range 3 {
		if code, text := c.call("POST", "/api/v1/requests", body); code != http.StatusOK || !strings.Contains(text, `"accepted":true`) {
			t.Errorf("%d %s", code, text)
		}
	}
	if len(h.asked) != 1 || h.asked[0].By != "token operate" || h.asked[0].From != "api" || h.asked[0].Role != controller.RoleOperate || h.asked[0].Value != 5.9 {
		t.Errorf("the core was asked %+v", h.asked)
	}
	for what, try := range map[string]struct {
		by   *caller
		body string
		code int
	}{
		"a viewer's request":   {looker, `{"once":"` + c.id() + `","do":"stop","tank":"north"}`, 403},
		"another's id":         {c, `{"once":"x-1","do":"stop","tank":"north"}`, 409},
		"no id":                {c, `{"do":"stop","tank":"north"}`, 409},
		"an array":             {c, `[]`, 400},
		"nothing":              {c, ``, 400},
		"half an object":       {c, `{"do":"stop"`, 400},
		"two objects":          {c, `{"do":"stop"}{}`, 400},
		"a name twice":         {c, `{"do":"stop","do":"arm"}`, 400},
		"an unknown name":      {c, `{"role":"engineer"}`, 400},
		"a value of no kind":   {c, `{"do":null}`, 400},
		"an object in it":      {c, `{"do":{"a":1}}`, 400},
		"too much":             {c, `{"note":"` + strings.Repeat("x", 64<<10) + `"}`, 400},
		"a tank that is not":   {c, `{"once":"` + c.id() + `","do":"stop","tank":"roof"}`, 400},
		"what an engineer may": {c, `{"once":"` + c.id() + `","do":"arm","tank":"north"}`, 422},
	} {
		if code, text := try.by.call("POST", "/api/v1/requests", try.body); code != try.code {
			t.Errorf("%s: %d %s", what, code, text)
		}
	}
	for _, a := range h.asked[1:] {
		if a.Role >= a.Kind.Needs() {
			t.Errorf("the core was asked %+v", a)
		}
	}
	for _, secret := range []string{"", "leat_", "other", c.secret + "x"} {
		bad := &caller{c.browser, secret}
		if code, text := bad.call("GET", "/api/v1/state", ""); code != http.StatusUnauthorized || strings.Contains(text, "north") {
			t.Errorf("token %q: %d %s", secret, code, text)
		}
	}
	old := h.caller(t, tokens, controller.RoleEngineer)
	_ = tokens.Add(Token{Name: "old", Role: controller.RoleEngineer, Hash: hashOf("leat_old"), Until: time.Now().Add(-time.Second)})
	old.secret = "leat_old"
	if code, _ := old.call("GET", "/api/v1/state", ""); code != http.StatusUnauthorized {
		t.Errorf("a token that is over: %d", code)
	}
}

func FuzzRequestOfAProgram(f *testing.F) {
	for _, body := range []string{`{"do":"stop"}`, `{"value":5.9}`, `{`, `[]`, `{"do":"a","do":"b"}`} {
		f.Add(body)
	}
	f.Fuzz(func(t *testing.T, body string) {
		said, err := readJSON(strings.NewReader(body))
		if err == nil && !json.Valid([]byte(body)) {
			t.Errorf("%q is read as %v", body, said)
		}
	})
}

var secretIn = regexp.MustCompile(`leat_[A-Z2-7]{20,}`)

func values(of map[string]string) url.Values {
	form := url.Values{}
	for name, value := range of {
		form.Set(name, value)
	}
	return form
}

func TestATokenIsMadeShownOnceAndEnded(t *testing.T) {
	h, _ := tokened(t)
	b := h.browser(t)
	b.signIn("mara", password)
	for _, bad := range []map[string]string{{"name": "wall", "role": "engineer", "days": "30"}, {"name": "wall", "role": "view", "days": "0"}, {"name": "wall", "role": "view", "days": "9999"}} {
		if code, _ := b.post("/people/token", values(bad)); code != http.StatusUnprocessableEntity {
			t.Errorf("%v: %d", bad, code)
		}
	}
	_, page := b.post("/people/token", values(map[string]string{"name": "wall", "role": "view", "days": "30"}))
	secret := secretIn.FindString(page)
	c := &caller{h.browser(t), secret}
	if code, _ := c.call("GET", "/api/v1/stocks", ""); code != http.StatusOK || secret == "" {
		t.Errorf("the token %q: %d", secret, code)
	}
	if _, page = b.get("/people"); strings.Contains(page, secret) || !strings.Contains(page, "End the token of wall") {
		t.Error("the secret is shown again, or the token is not listed")
	}
	b.post("/people/token/end", values(map[string]string{"name": "wall"}))
	if code, _ := c.call("GET", "/api/v1/stocks", ""); code != http.StatusUnauthorized {
		t.Errorf("an ended token: %d", code)
	}
}
