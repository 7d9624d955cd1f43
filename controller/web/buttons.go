package web

import (
	"maps"
	"slices"
	"strings"
)

// buttons are what the core names by its command, and under which label a page has it: whoever
// reads a page presses a button. What only the machine itself may do keeps its command.
var buttons = map[string]string{
	"leat mode resume":     "Resume",
	"leat mode observe":    "Observe only",
	"leat act end-holiday": "End the holiday",
	"leat calibrate-pump":  "Enter the runs",
	"leat calibrate":       "Begin",
}

// labelled is a text of the core as a page says it.
func labelled(text string) string {
	if !strings.Contains(text, "leat ") {
		return text
	}
	// The longest first: one command begins as another does.
	for _, command := range slices.SortedFunc(maps.Keys(buttons), func(a, b string) int { return len(b) - len(a) }) {
		text = strings.ReplaceAll(text, command, "“"+buttons[command]+"”")
	}
	return text
}
