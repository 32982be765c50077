package commands

import (
	"cmp"
	"fmt"
	"strings"

	"benchbell/core"
)

// Print writes what Parse read, as it is best typed: Parse(Print(x)) is x.
func Print(want any) string {
	return cmp.Or(printForRun(want), printOfSuit(want), printQuestion(want))
}

// printForRun prints what is said in a run.
func printForRun(want any) string {
	switch w := want.(type) {
	case core.Tick:
		if w.All {
			return "ok all"
		}
		return strings.TrimSpace("ok " + cleanNumbers(w.Items))
	case core.Untick:
		return "undo " + cleanNumbers(w.Items)
	case core.Bad:
		return fmt.Sprintf("bad %d %s", w.Item, w.What)
	case core.Read:
		text := withUnit(w.Digits, w.Unit)
		if w.HasStated {
			text += " at " + core.Stopwatch(w.Stated)
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
	case core.Leak:
		return withColon("leak", w.Where)
	case core.AddAir:
		return w.Litres + " L"
	case core.Remark:
		return withColon("note", w.Text)
	case core.Stop:
		return withColon("stop", w.Why)
	case core.NothingFitted:
		return "nothing fitted"
	case core.Repeat:
		return withColon("again", w.Why)
	case core.HandOver:
		if w.Me {
			return "over to me"
		}
		return "over to @" + w.To.Name
	}
	return ""
}

// printOfSuit prints what is said of a suit.
func printOfSuit(want any) string {
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
	case core.Measure:
		if w.Litres == "" {
			return strings.TrimSpace("capacity " + w.Suit)
		}
		return fmt.Sprintf("capacity %s %s L %s %s %s", w.Suit, w.Litres, w.From, w.To, w.Unit)
	case core.NoteUsed:
		return strings.Join(strings.Fields("used "+w.Suit+" "+w.When+" "+w.Note), " ")
	case core.NoteFound:
		return "found " + w.Suit + " " + w.What
	case core.NoteRepaired:
		of := ""
		switch {
		case w.All:
			of = "all: "
		case len(w.Of) > 0:
			of = cleanNumbers(w.Of) + ": "
		}
		return "repaired " + w.Suit + " " + of + w.What
	case core.NoteCause:
		return "cause " + w.Suit + " " + w.What
	case core.Withdraw:
		return "withdraw " + w.Suit + " " + w.Why
	case core.Retire:
		return "retire " + w.Suit + " " + w.Why
	case core.Reinstate:
		return "reinstate " + w.Suit + " " + w.Why
	case core.Release:
		return "release " + w.Suit
	}
	return ""
}

// printQuestion prints questions, and what is said of the register.
func printQuestion(want any) string {
	switch w := want.(type) {
	case core.AskWhy:
		return "why"
	case core.AskWhere:
		return "where"
	case core.AskFleet:
		return "status"
	case core.AskSuit:
		return "status " + w.Suit
	case core.AskReady:
		return strings.TrimSpace("ready " + w.Want)
	case core.AskDue:
		if w.Within.IsZero() {
			return "due"
		}
		return "due " + w.Within.String()
	case core.AskRecord:
		if w.Run == 0 {
			return "record"
		}
		return "record " + w.Run.String()
	case core.AskLogbook:
		return "logbook " + w.Suit
	case core.AskShelf:
		return "shelf"
	case core.AskHistory:
		return "history " + w.Suit
	case core.Enter:
		return printEnter(w)
	case core.ImportFiles:
		return "import"
	case Thanks:
		return "thanks"
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

func printEnter(w core.Enter) string {
	words := []string{"suit", "add", w.Name}
	if w.Manometer {
		words[0] = "manometer"
	}
	if w.Change {
		words[1] = "change"
	}
	for _, f := range w.Fields {
		words = append(words, f.Column+"=\""+f.Value+"\"")
	}
	return strings.Join(words, " ")
}
