package commands

import (
	"fmt"
	"strings"
)

// FileFault is something in a register file that cannot be taken.
type FileFault struct {
	File   string
	Row    int    // 0 if it is about the whole file
	Column string // empty if it is about the whole row
	Found  string
	Want   string
}

// Faults says why nothing of some files was taken: every fault, by row and
// column, as far as a post can be read.
func (s Speaker) Faults(all []FileFault) string {
	const most = 12
	out := []string{bold("Nothing taken.") + fmt.Sprintf(" To mend: %d", len(all))}
	for i, f := range all {
		if i == most || f.Want == "" {
			out = append(out, fmt.Sprintf("- and %d more", len(all)-i))
			break
		}
		text := "- "
		if f.Row > 0 && f.File != "register" {
			text += fmt.Sprintf("row %d, ", f.Row)
		}
		if f.Column != "" && (f.File != "register" || !strings.HasPrefix(f.Column, "column ")) { // a post has no columns A to Z
			text += quote(f.Column) + " "
		}
		if f.Found != "" {
			text += quote(f.Found) + ": "
		}
		out = append(out, text+shown(f.Want))
	}
	return lines(out...)
}

// Registered answers a change of one entry of the register.
func Registered(name string, changed bool) string {
	if changed {
		return name + " is changed in the register."
	}
	return name + " is in the register."
}

// Imported answers files that were taken into the register.
func Imported(suits, manometers, tests int) string {
	return fmt.Sprintf("Taken: %d suits, %d manometers, %d new past tests.", suits, manometers, tests)
}
