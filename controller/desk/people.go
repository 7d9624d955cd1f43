package desk

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/store"
	"leat/controller/web"
)

// leastPassword is the shortest password taken, in characters; NIST SP 800-63B
// asks for at least 8 and for no rules of composition.
const leastPassword = 10

// OpenState opens what a configuration or a folder names, to add or remove people.
func OpenState(path, folder string, stderr io.Writer) (*store.DB, error) {
	if folder == "" {
		file, err := config.Look(path)
		if err != nil {
			return nil, err
		}
		if _, err := os.Stat(file.State); err != nil {
			fmt.Fprintf(stderr, "leat user: %s is new; see that leat run keeps its record there too ([storage] folder)\n", file.State)
		}
		return store.Open(file.State)
	}
	// A folder that is named by hand is made by nobody: a slip would begin a second
	// record that no daemon reads.
	if _, err := os.Stat(folder); err != nil {
		return nil, fmt.Errorf("state folder: %w; name the folder that the configuration's state names, or use -config", err)
	}
	return store.Open(folder)
}

// AddPerson asks for a password and adds somebody who may sign in.
func AddPerson(db *store.DB, name string, role controller.Role, stdout, stderr io.Writer) error {
	password, err := readPassword(stderr)
	if err != nil {
		return err
	}
	if len([]rune(password)) < leastPassword {
		return fmt.Errorf("the password has fewer than %d characters; a few words in a row are easy to remember", leastPassword)
	}
	hash, err := web.Hash(password)
	if err != nil {
		return err
	}
	if err := db.People().Add(store.Person{Name: name, Role: role.String(), Hash: hash, Added: time.Now()}); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%s may sign in as %s\n", name, role)
	return nil
}

// HandOver lends a person a role until a time, or takes back what was lent, and puts it
// on record.
func HandOver(db *store.DB, name string, role controller.Role, until, note string, stdout io.Writer) error {
	person, err := db.People().Find(name)
	if err != nil {
		return err
	}
	if until == "" {
		if err := db.People().Hand(person.Name, store.Handover{}); err != nil {
			return err
		}
		fmt.Fprintf(stdout, "%s may %s\n", person.Name, person.Role)
		return db.Audit(time.Now(), "terminal", "terminal", "took back what was handed over", person.Name)
	}
	now := time.Now()
	ends, err := web.HandoverUntil(until, now)
	if err != nil {
		return err
	}
	if own, _ := controller.ParseRole(person.Role); role <= own {
		return fmt.Errorf("%s may %s already; lend more with -role", person.Name, person.Role)
	}
	if err := db.People().Hand(person.Name, store.Handover{Role: role.String(), By: "terminal", Note: note, Until: ends}); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%s may %s until %s, and %s again from then on by itself\n", person.Name, role, ends.Format("2006-01-02 15:04 MST"), person.Role)
	return db.Audit(now, "terminal", "terminal", "handed over", fmt.Sprintf("to %s, %s until %s: %s", person.Name, role, ends.Format("2006-01-02 15:04 MST"), note))
}

// readPassword asks twice at a terminal and takes one line elsewhere.
func readPassword(stderr io.Writer) (string, error) {
	if !term.IsTerminal(int(os.Stdin.Fd())) {
		line, err := bufio.NewReader(io.LimitReader(os.Stdin, 4096)).ReadString('\n')
		if err != nil && !errors.Is(err, io.EOF) {
			return "", err
		}
		return strings.TrimRight(line, "\r\n"), nil
	}
	var typed [2][]byte
	for i, prompt := range []string{"password: ", "once more: "} {
		fmt.Fprint(stderr, prompt)
		text, err := term.ReadPassword(int(os.Stdin.Fd()))
		fmt.Fprintln(stderr)
		if err != nil {
			return "", err
		}
		typed[i] = text
	}
	if string(typed[0]) != string(typed[1]) {
		return "", errors.New("the two differ; nothing was changed")
	}
	return string(typed[0]), nil
}

// ListPeople prints who may sign in.
func ListPeople(db *store.DB, asJSON bool, stdout io.Writer) error {
	people, err := db.People().List()
	if err != nil {
		return err
	}
	if asJSON {
		type shown struct {
			Name  string    `json:"name"`
			Role  string    `json:"role"`
			Added time.Time `json:"added"`
		}
		list := []shown{}
		for _, p := range people {
			list = append(list, shown{p.Name, p.Role, p.Added})
		}
		return WriteJSON(stdout, list)
	}
	if len(people) == 0 {
		fmt.Fprintln(stdout, "nobody yet; add someone with leat user add NAME")
	}
	for _, p := range people {
		lent := ""
		if p.Given.Until.After(time.Now()) {
			lent = fmt.Sprintf(", %s until %s", p.Given.Role, p.Given.Until.Local().Format("2006-01-02 15:04"))
		}
		fmt.Fprintf(stdout, "%-20s %-9s since %s%s\n", p.Name, p.Role, p.Added.Local().Format("2006-01-02"), lent)
	}
	return nil
}
