package chat_test

import (
	"testing"
	"time"

	"benchbell/bot/chat"
	"benchbell/core"
)

func TestDoc(t *testing.T) {
	day := core.Date{Year: 2026, Month: time.March, Day: 2}
	for want, d := range map[string]chat.Doc{
		"record/R-0001@412":              {Kind: chat.RecordDoc, Run: 1, Seq: 412},
		"logbook/HP-07/2026-03-02@412":   {Kind: chat.LogbookDoc, Suit: "HP-07", Day: day, Seq: 412},
		"logbook/a/b@7/c/2026-03-02@412": {Kind: chat.LogbookDoc, Suit: "a/b@7/c", Day: day, Seq: 412},
		"shelf/2026-03-02@0":             {Kind: chat.ShelfDoc, Day: day},
		"chart/R-0012@9":                 {Kind: chat.ChartDoc, Run: 12, Seq: 9},
		"history/HP-07@18":               {Kind: chat.HistoryDoc, Suit: "HP-07", Seq: 18},
		"history/x@y/2026-03-02@18":      {Kind: chat.HistoryDoc, Suit: "x@y/2026-03-02", Seq: 18},
	} {
		if got := d.String(); got != want {
			t.Errorf("%+v is written %q, want %q", d, got, want)
		}
		if got, err := chat.ParseDoc(want); err != nil || got != d {
			t.Errorf("%q is read as %+v, %v", want, got, err)
		}
	}
	for _, wrong := range []string{
		"", "@", "/", "record", "record/R-0001", "record/R-0001@", "record/R-0001@x", "record/R-1x@3", "record/@3", "record/R-0001@-1", "record/R-0001@03",
		"logbook/HP-07@3", "logbook/2026-03-02@3", "logbook/HP-07/2026-02-30@3", "shelf/@3", "history/@3", "letter/R-0001@3", "@3", "/@3",
	} {
		if d, err := chat.ParseDoc(wrong); err == nil {
			t.Errorf("%q is read as %+v", wrong, d)
		}
	}
}

func FuzzParseDoc(f *testing.F) {
	f.Add("logbook/HP-07/2026-03-02@412")
	f.Fuzz(func(t *testing.T, s string) {
		if d, err := chat.ParseDoc(s); err == nil && d.String() != s {
			t.Errorf("%q comes back as %q", s, d)
		}
	})
}
