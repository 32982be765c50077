package commands

import (
	"fmt"
	"strings"

	"benchbell/core"
)

// Print writes what Parse read, as it is best typed: Parse(Print(x)) is x.
func Print(want any) string {
	switch w := want.(type) {
	case core.Open:
		text := "test " + w.Suit
		if w.Method != "" {
			text += " " + w.Method
		}
		if w.Manometer != "" {
			text += " with " + w.Manometer
		}
		return text
	case core.Tick:
		if w.All {
			return "ok all"
		}
		return strings.TrimSpace("ok " + strings.ReplaceAll(numbers(w.Items), ",", ""))
	case core.Untick:
		return "undo " + strings.ReplaceAll(numbers(w.Items), ",", "")
	case core.Bad:
		return fmt.Sprintf("bad %d %s", w.Item, w.What)
	case core.Read:
		text := withUnit(w.Digits, w.Unit)
		if w.HasStated {
			text += " at " + stopwatch(w.Stated)
		}
		return text
	case core.Fix:
		return "fix " + withUnit(w.Digits, w.Unit)
	case core.Yes:
		return "yes"
	case core.Use:
		return "with " + w.Manometer
	case core.Air:
		return "air " + w.Celsius
	case core.Baro:
		return "baro " + withUnit(w.Digits, w.Unit)
	case core.Remark:
		return "note " + w.Text
	case core.Stop:
		return strings.TrimSpace("stop " + w.Why)
	case core.Repeat:
		return "again"
	case core.HandOver:
		return "over to @" + w.To.Name
	case core.AskWhere:
		return "where"
	case core.AskFleet:
		return "status"
	case core.AskSuit:
		return "status " + w.Suit
	case core.NoteUsed:
		return strings.TrimSpace("used " + w.Suit + " " + w.Note)
	case core.NoteFound:
		return "found " + w.Suit + " " + w.What
	case core.NoteRepaired:
		return "repaired " + w.Suit + " " + w.What
	case core.Withdraw:
		return "withdraw " + w.Suit + " " + w.Why
	case core.Retire:
		return "retire " + w.Suit + " " + w.Why
	case Help:
		return strings.TrimSpace("help " + w.Word)
	}
	return ""
}

func withUnit(digits string, u core.Unit) string {
	if u == core.NoUnit {
		return digits
	}
	return digits + " " + u.String()
}
