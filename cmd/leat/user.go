package main

import (
	"flag"
	"fmt"
	"io"
	"slices"

	"leat/controller"
	"leat/controller/desk"
)

const userUsage = `usage: leat user -config FILE [-role ROLE] add NAME    (password from the terminal, or one line of stdin)
       leat user -config FILE remove NAME
       leat user -config FILE [-role ROLE] -until TIME [-note TEXT] hand NAME    (lends a helper a role; it lowers itself)
       leat user -config FILE take NAME    (takes back what was lent, before its time)
       leat user -config FILE list

view sees; operate changes setpoints, pauses and stops; engineer arms and clears as well.
Limits and caps change in the configuration file only.

`

func userCommand(flags *flag.FlagSet) task {
	path := flags.String("config", "", "configuration `FILE` of the daemon, to find its state folder")
	state := flags.String("state", "", "state `FOLDER` of the daemon, instead of -config")
	roleName := flags.String("role", "operate", "what the person may do: view, operate or engineer")
	until := flags.String("until", "", "with hand: when what is lent ends, such as 72h or 2026-12-05T18:00, at most a month ahead")
	note := flags.String("note", "", "with hand: what the helper is to look after, shown on their page")
	asJSON := flags.Bool("json", false, "print the list as JSON")
	return task{usage: userUsage, words: 2, verbs: []string{"add", "remove", "list", "hand", "take"}, values: map[string][]string{"role": {"view", "operate", "engineer"}}, do: func(stdout, stderr io.Writer) error {
		verb, name := flags.Arg(0), flags.Arg(1)
		role, known := controller.ParseRole(*roleName)
		switch {
		case !slices.Contains([]string{"add", "remove", "list", "hand", "take"}, verb):
			return desk.Misuse("%q: want add NAME, remove NAME, hand NAME, take NAME or list", verb)
		case (verb == "hand") != (*until != ""):
			return desk.Misuse("hand wants -until TIME, and nothing else does")
		case verb != "list" && name == "":
			return desk.Misuse("%s wants a name", verb)
		case verb == "list" && name != "":
			return desk.Misuse("list takes no name")
		case !known:
			return desk.Misuse("-role %q: want view, operate or engineer", *roleName)
		case (*path == "") == (*state == ""):
			return desk.Misuse("name the daemon by -config FILE or -state FOLDER, one of the two")
		}
		db, err := desk.OpenState(*path, *state, stderr)
		if err != nil {
			return err
		}
		defer db.Close()
		switch verb {
		case "list":
			return desk.ListPeople(db, *asJSON, stdout)
		case "hand", "take":
			return desk.HandOver(db, name, role, *until, *note, stdout)
		case "remove":
			if err = db.People().Remove(name); err == nil {
				_, err = fmt.Fprintf(stdout, "%s may no longer sign in, and is signed out\n", name)
			}
			return err
		}
		return desk.AddPerson(db, name, role, stdout, stderr)
	}}
}
