package paper

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"benchbell/commands"
	"benchbell/core"
)

// ShelfInput is what the list for the wall is made from.
type ShelfInput struct {
	Station Station
	Head    Head
	Format  Format
	// Day is the day of printing, for which the standings are worked out by
	// Policy in the time zone of the station.
	Day    core.Date
	Policy core.Policy
	Suits  []core.Summary // in any order; those retired are named at the end
}

// ShelfList makes the list of suits for the wall, in letters that are read
// from where one stands: of each its tag, size, place, standing and how long
// it is in test.
func ShelfList(in ShelfInput) ([]byte, error) {
	in.Policy.Zone = in.Station.zone()
	at := in.Head.At
	if at.IsZero() {
		at = in.Day.Start(in.Station.zone())
	}
	s, err := newSheet(about{
		station: in.Station, head: in.Head, format: in.Format, at: at,
		name: "Suits on " + in.Day.String(), left: "Suits, printed " + in.Day.String(),
	})
	if err != nil {
		return nil, err
	}
	retired := retiredOf(in.Suits)
	in.Suits = slices.DeleteFunc(slices.Clone(in.Suits), func(suit core.Summary) bool { return suit.Retired })
	t, fit := shelf(in)
	s.line(margin, s.y, s.inner()*0.6, title, black, fmt.Sprintf("%d of %s fit", fit, count(len(in.Suits), "suit")))
	s.lineRight(margin+s.inner()*0.6, s.y, s.inner()*0.4, title, black, in.Day.String())
	s.y += title.height()
	large := face{size: 11}
	s.flow(table{columns: []column{{face: large}}, rows: []row{
		rowOf(said(in.Station.Name)),
		rowOf("Right on the day of printing only: ask again before anybody wears one."),
	}})
	s.flow(t)
	if retired != "" {
		s.flow(table{columns: []column{{face: large}}, rows: []row{rowOf("Retired, never to be worn: " + retired)}})
	}
	s.skip(blockGap)
	s.end(fmt.Sprintf("End of list, %s, as of journal entry %d", count(len(in.Suits), "suit"), in.Head.Seq))
	return s.finish()
}

// retiredOf names the retired suits: one may still hang where it always did.
func retiredOf(suits []core.Summary) string {
	var tags []string
	for _, suit := range suits {
		if suit.Retired {
			tags = append(tags, typed(suit.Tag))
		}
	}
	slices.SortFunc(tags, compareTags)
	return strings.Join(tags, ", ")
}

// shelf is the list itself, and how many suits on it may be worn.
func shelf(in ShelfInput) (t table, fit int) {
	large, larger := face{size: 12}, face{size: 13, bold: true}
	t = table{ruled: true, gap: 2.2, tail: ending(), columns: []column{
		{head: "Suit", width: 27, face: larger},
		{head: "Size", width: 12, face: large},
		{head: "Place", width: 34, face: large},
		{head: "Standing", width: 38, face: larger},
		{head: "Test due", width: 24, face: large},
		{head: "Why not", face: face{size: 9}},
	}}
	speak := commands.Speaker{Zone: in.Policy.Zone}
	suits := slices.SortedFunc(slices.Values(in.Suits), func(a, b core.Summary) int { return compareTags(a.Tag, b.Tag) })
	for _, suit := range suits {
		st := suit.Standing(in.Policy, in.Day)
		due, why := "–", ""
		// Of a suit that is blocked, the day by its last pass would only mislead.
		if !st.Due.IsZero() && (st.Wearable() || st.Due.Before(in.Day)) {
			due = st.Due.String()
		}
		if st.Wearable() {
			fit++
		} else {
			why = speak.Short(st)
		}
		r := rowOf(typed(suit.Tag), typed(suit.Size), typed(suit.Place), strings.ToUpper(commands.StandingWords(st.Kind)), due, typed(why))
		r.shaded = !st.Wearable()
		t.rows = append(t.rows, r)
	}
	return t, fit
}

// compareTags compares tags so that HP-2 comes before HP-10: digits count as
// the number they make.
func compareTags(a, b string) int {
	x, y := a, b
	for x != "" && y != "" {
		if isDigit(x[0]) && isDigit(y[0]) {
			m, n := number(&x), number(&y)
			if c := cmp.Or(cmp.Compare(len(m), len(n)), cmp.Compare(m, n)); c != 0 {
				return c
			}
			continue
		}
		if x[0] != y[0] {
			return cmp.Compare(x[0], y[0])
		}
		x, y = x[1:], y[1:]
	}
	return cmp.Or(cmp.Compare(len(x), len(y)), cmp.Compare(a, b))
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

// number takes the digits off the beginning of a text and returns them without
// leading zeros.
func number(s *string) string {
	n := 0
	for n < len(*s) && isDigit((*s)[n]) {
		n++
	}
	digits := (*s)[:n]
	*s = (*s)[n:]
	return strings.TrimLeft(digits, "0")
}
