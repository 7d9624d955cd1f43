package web

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"leat/controller"
)

// Token lets one program in until a day. Hash is the SHA-256 of its secret, which nobody
// keeps: a secret of 130 random bits needs no slow hash.
type Token struct {
	Name, Hash   string
	Role         controller.Role
	Added, Until time.Time
}

// Tokens are those of programs.
type Tokens interface {
	Find(hash string) (Token, bool, error)
	List() ([]Token, error)
	Add(Token) error
	End(name string) error
}

const (
	tokenBegins = "leat_"
	tokenDays   = 366 // at most
)

func hashOf(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// program is the program that sent a request with its token.
func (a *api) program(r *http.Request) (Token, bool) {
	secret, found := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	if !found || !strings.HasPrefix(secret, tokenBegins) || a.server.options.Tokens == nil {
		return Token{}, false
	}
	token, known, err := a.server.options.Tokens.Find(hashOf(secret))
	return token, err == nil && known && time.Now().Before(token.Until)
}

// makeToken makes a token for a program and shows its secret this once.
func (a *api) makeToken(w http.ResponseWriter, r *http.Request) {
	s := a.server
	who, ok := s.who(r)
	if !ok || who.role < controller.RoleEngineer || s.options.Tokens == nil {
		http.Error(w, "an engineer who is signed in makes tokens", http.StatusForbidden)
		return
	}
	if _ = r.FormValue("name"); s.trust.proof(w, r, who, "/people") {
		return
	}
	role, _ := controller.ParseRole(r.FormValue("role"))
	days, err := strconv.Atoi(strings.TrimSpace(r.FormValue("days")))
	shown := &answerData{sent: r.PostForm}
	token := Token{Name: strings.TrimSpace(r.FormValue("name")), Role: role, Added: time.Now()}
	secret := tokenBegins + rand.Text()
	token.Hash, token.Until = hashOf(secret), token.Added.AddDate(0, 0, days)
	switch {
	case err != nil || days < 1 || days > tokenDays:
		shown.Text = fmt.Sprintf("days: want 1 to %d", tokenDays)
	case role != controller.RoleView && role != controller.RoleOperate:
		shown.Text = "role: a program may view or operate; only a person arms, clears and confirms"
	default:
		if err := s.options.Tokens.Add(token); err != nil {
			shown.Text = err.Error()
			break
		}
		shown.Accepted = true
		shown.Text = fmt.Sprintf("the token of %s, which is shown this once: %s; it holds until %s", token.Name, secret, token.Until.Format("2 Jan 2006"))
		s.options.Audit(who.name, "page", "made a token", fmt.Sprintf("%s, %s, until %s", token.Name, role, token.Until.Format(time.DateOnly)))
	}
	status := http.StatusOK
	if !shown.Accepted {
		status = http.StatusUnprocessableEntity
	}
	s.showPage(w, r, "/people", status, shown)
}

// endToken takes a program's token away.
func (a *api) endToken(w http.ResponseWriter, r *http.Request) {
	s := a.server
	who, ok := s.who(r)
	if !ok || who.role < controller.RoleEngineer || s.options.Tokens == nil {
		http.Error(w, "an engineer who is signed in ends tokens", http.StatusForbidden)
		return
	}
	name := r.FormValue("name")
	if err := s.options.Tokens.End(name); err != nil {
		http.Error(w, err.Error(), http.StatusNotFound)
		return
	}
	s.options.Audit(who.name, "page", "ended a token", name)
	http.Redirect(w, r, "/people", http.StatusSeeOther)
}
