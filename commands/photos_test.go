package commands

import (
	"testing"

	"benchbell/core"
)

func TestAddLine(t *testing.T) {
	for _, test := range []struct{ text, want string }{
		{"Noted.", "Noted.\nmore"},
		{"PASS\ndrop 1.3 mbar\n@bench.tester", "PASS\ndrop 1.3 mbar\nmore\n@bench.tester"},
		{"@bench.tester", "more\n@bench.tester"},
		{"Still waiting. @bench.tester", "Still waiting. @bench.tester\nmore"},
		{"", "more"},
	} {
		if got := AddLine(test.text, "more"); got != test.want {
			t.Errorf("with a line more, %q is %q, want %q", test.text, got, test.want)
		}
	}
}

func TestPhotoWords(t *testing.T) {
	s := Speaker{}
	for _, test := range []struct{ got, want string }{
		{s.Photos(1, core.Link{To: core.WithReading, N: 3, Phase: core.Hold}, false), "Photo kept with reading 3."},
		{s.Photos(2, core.Link{To: core.WithPhase, Phase: core.Hold}, true), "2 photos and words kept in the hold."},
		{s.Photos(1, core.Link{To: core.WithList, N: 4, Phase: core.Restore}, false), "Photo kept with item 4 of the unplugging list."},
		{s.Photos(1, core.Link{To: core.WithList, Phase: core.Prepare}, false), "Photo kept with the prepare list."},
		{s.Photos(1, core.Link{To: core.WithAir, Phase: core.Hold}, false), "Photo kept with the air noted."},
		{s.PhotoElsewhere([]string{"R-0001 (HP-07)", "R-0002 (HP-08)"}), "Photo not kept: post it in the thread of R-0001 (HP-07) or R-0002 (HP-08)."},
		{s.PhotoLost(core.Photo{Name: "@all `x`.pdf", Lost: core.NoPhoto}), "Not kept: `` @\u200ball `x`.pdf `` is no photo (JPEG, PNG, HEIC, WebP)."},
		{s.Record(core.Run{ID: 1, Suit: core.Suit{Tag: "HP-07"}, Phase: core.Over, Photos: make([]core.Photo, 2)}), "Record of R-0001, HP-07.\nPhotos still to be read: 2. Ask again for their SHA-256."},
	} {
		if test.got != test.want {
			t.Errorf("got %q, want %q", test.got, test.want)
		}
	}
}
