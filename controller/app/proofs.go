package app

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"time"

	"leat/controller/prove"
	"leat/safety"
)

// proofs are the sheets of leat prove in the state folder, by node: the whole one and the
// weekly one. While a daemon runs nobody proves, so they are read once.
type proofs map[string][2]prove.Sheet

// readProofs reads them. One that cannot be read is one that is not there: the person who
// arms is told to prove.
func readProofs(folder string, nodes []safety.Node) proofs {
	all := proofs{}
	for i := range nodes {
		var sheets [2]prove.Sheet
		for k, weekly := range []bool{false, true} {
			text, err := os.ReadFile(filepath.Join(folder, prove.FileName(nodes[i].Name, weekly)+".json"))
			if err == nil && json.Unmarshal(text, &sheets[k]) != nil {
				sheets[k] = prove.Sheet{}
			}
		}
		all[nodes[i].Name] = sheets
	}
	return all
}

// remind adds to the answer to who arms what was not proved.
func (p proofs) remind(answer string, nodes []safety.Node, now time.Time) string {
	var all []string
	for i := range nodes {
		sheets := p[nodes[i].Name]
		if text := prove.Reminder(nodes[i].Name, sheets[0], sheets[1], now); text != "" {
			all = append(all, text)
		}
	}
	if len(all) == 0 {
		return answer
	}
	return strings.TrimSuffix(answer, ".") + ". But " + strings.Join(all, "; ")
}
