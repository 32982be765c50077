package commands

import (
	"fmt"
	"strings"
	"time"

	"github.com/dustin/go-humanize"

	"benchbell/core"
)

// Suit answers whether a suit may be worn: the first line says it.
func (s Speaker) Suit(tag string, st core.Standing, now time.Time) string {
	return s.standing(tag, st, core.DateAt(now, s.Zone))
}

// Asked answers a question about a suit: its standing, its size and where it is kept,
// for the person who fetches it.
func (s Speaker) Asked(suit core.Suit, st core.Standing, now time.Time) string {
	var kept []string
	for _, what := range []string{suit.Size, suit.Place} {
		if what != "" {
			kept = append(kept, named(what))
		}
	}
	return lines(s.Suit(suit.Tag, st, now), strings.Join(kept, ", "))
}

func (s Speaker) standing(tag string, st core.Standing, day core.Date) string {
	head := bold(fmt.Sprintf("%s: %s.", tag, standingWords(st.Kind)))
	if st.Wearable() {
		return lines(head, "Test valid until "+s.date(st.Due, day)+".")
	}
	out := []string{head}
	for _, b := range st.Bars {
		out = append(out, "- "+s.bar(b))
	}
	return lines(append(out, clears(tag, st))...)
}

func standingWords(k core.StandingKind) string {
	if k == core.OnTheBench {
		return "on the bench, not fit"
	}
	return string(k)
}

// barWords names a reason why a suit must not be worn.
func barWords(k core.BarKind) string {
	if k == core.BarRestore {
		return "not unplugged and put away yet"
	}
	return string(k)
}

// bar words one reason why a suit must not be worn.
func (s Speaker) bar(b core.Bar) string {
	text := barWords(b.Kind)
	if b.Note != "" {
		text += " " + quote(b.Note)
	}
	switch {
	case b.Run != 0 && b.Kind == core.BarWithdrawn:
		return text + ", " + b.Since.In(s.Zone).Format(time.DateOnly) + "; passed since, " + b.Run.String()
	case b.Run != 0:
		text += ", " + b.Run.String()
	}
	if b.Kind == core.BarRunOpen || b.Kind == core.BarRestore {
		return text
	}
	text += ", " + b.Since.In(s.Zone).Format(time.DateOnly)
	if b.Remedied {
		if b.Kind == core.BarFailed {
			return text + "; repaired, or its cause found: needs a passed test"
		}
		text += "; repaired: needs a passed test"
	}
	return text
}

// clears says what would make the suit fit again.
func clears(tag string, st core.Standing) string {
	kinds := make(map[core.BarKind]bool)
	waits := len(st.Bars) > 0 // for nothing but an officer's word
	for _, b := range st.Bars {
		kinds[b.Kind] = true
		waits = waits && b.AwaitsWord()
	}
	switch {
	case st.Kind == core.OutForGood:
		return "An officer can bring it back: " + code("reinstate "+tag+" …") + ", then a passed test."
	case kinds[core.BarEndOfLife]:
		return "Past its service life; cannot be used again. " + code("retire "+tag+" …")
	case kinds[core.BarRestore]:
		return "Its plugs and adapter may still be in: the list in its run must be complete."
	case kinds[core.BarRunOpen]:
		return "Its run must end first."
	case waits:
		return "An officer's word clears this: " + code("release "+tag) + "."
	case len(untreated(st)) > 0:
		return treat(tag, st)
	}
	if kinds[core.BarWithdrawn] {
		return fmt.Sprintf("A passed test clears this, %s, then an officer's word, %s.", code("test "+tag), code("release "+tag))
	}
	if kinds[core.BarUsed] {
		return fmt.Sprintf("Decontaminate it, then %s.", code("test "+tag))
	}
	return fmt.Sprintf("A passed test clears this: %s.", code("test "+tag))
}

// date prints a date with how far off it is.
func (s Speaker) date(d, today core.Date) string {
	if d == today {
		return d.String() + " (today)"
	}
	return fmt.Sprintf("%s (%s)", d, humanize.RelTime(d.Start(time.UTC), today.Start(time.UTC), "ago", "from now"))
}

// FleetLine is one suit of the fleet that cannot go out.
type FleetLine struct {
	Tag      string
	Standing core.Standing
}

// Fleet answers how many suits are fit and which are not, and why. Those retired
// are not counted among them, and may still hang somewhere.
func (s Speaker) Fleet(total, fit, retired int, not []FleetLine) string {
	out := append([]string{bold(fmt.Sprintf("%d of %d fit.", fit, total))}, s.notFit(not)...)
	if retired > 0 {
		out = append(out, fmt.Sprintf("Also retired: %d. %s names them.", retired, code("shelf")))
	}
	return lines(out...)
}

// notFit lists suits by their reasons, those of one reason in one line.
func (s Speaker) notFit(not []FleetLine) []string {
	var reasons []string
	tags := make(map[string][]string)
	for _, l := range not {
		why := s.short(l.Standing)
		if tags[why] == nil {
			reasons = append(reasons, why)
		}
		tags[why] = append(tags[why], l.Tag)
	}
	return section("Not fit", len(reasons), func(i int) string {
		some, more := tags[reasons[i]], ""
		if len(some) > mostLines {
			more = fmt.Sprintf(" and %d more: %s has every suit", len(some)-mostLines, code("shelf"))
			some = some[:mostLines]
		}
		return wrap(reasons[i]+": "+strings.Join(some, ", ")+more, 36)
	})
}

// short is a standing in a few words: every reason, without its date.
func (s Speaker) short(st core.Standing) string {
	if st.Kind == core.OutForGood {
		return string(st.Kind)
	}
	reasons := make([]string, 0, len(st.Bars))
	for _, b := range st.Bars {
		text := barWords(b.Kind)
		if b.Run != 0 {
			text += " " + b.Run.String()
		}
		reasons = append(reasons, text)
	}
	if len(reasons) == 0 {
		return string(st.Kind)
	}
	return strings.Join(reasons, ", ")
}
