package rehearsal

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"benchbell/bot/chat"
)

// TestPhotosOnRecord plays the script of photos. Its records then name each
// photo, with what it came with and with the SHA-256 of the file.
func TestPhotosOnRecord(t *testing.T) {
	script, err := os.ReadFile("../../testdata/scripts/photos.txt")
	if err != nil {
		t.Fatal(err)
	}
	d := newBay(t, string(script), "bench.tester dm: record R-0001")
	records := make(map[string]string) // the last of each run
	for _, p := range d.stage.posts {
		if _, id, ok := strings.Cut(p.text, "Record of "); ok {
			text := string(poppler(t, "pdftotext", p.file, "-raw", "-", "-"))
			records[id[:6]] = strings.Join(strings.Fields(text), " ")
		}
	}
	for _, test := range []struct{ run, name, caption, with, at, by string }{
		{"R-0001", "worn-knee", "looks worn here", "while preparing", "08:30:00", "bench.tester"},
		{"R-0001", "manometer.jpg", "", "with item 3 of the prepare list", "08:30:00", "bench.tester"},
		{"R-0001", "bubbles.png", "", "with item 3 of the prepare list", "08:30:00", "bench.tester"},
		{"R-0001", "manometer.jpg", "", "with reading 1", "08:30:00", "bench.tester"},
		{"R-0001", "manometer.jpg", "", "in the expansion", "08:33:00", "bench.tester"},
		{"R-0001", "manometer.jpg", "", "with reading 2", "08:33:00", "bench.tester"},
		{"R-0001", "worn-knee", "valve 2", "in the hold", "08:40:00", "crew.member"},
		{"R-0001", "manometer.jpg", "15.0", "in the hold", "08:40:00", "crew.member"},
		{"R-0001", "manometer.jpg", "15.2 mbra", "with reading 4", "08:42:00", "bench.tester"},
		{"R-0001", "manometer.jpg", "it shows 15.2 mbar", "in the hold", "08:42:00", "bench.tester"},
		{"R-0001", "manometer.jpg", "", "with reading 5", "08:46:00", "bench.tester"},
		{"R-0001", "bubbles.png", "", "with leak 1", "08:48:00", "bench.tester"},
		{"R-0001", "bubbles.png", "laek glove joint", "with leak 2", "08:48:00", "bench.tester"},
		{"R-0001", "bubbles.png", "", "with the note", "08:49:00", "crew.member"},
		{"R-0001", "bubbles.png", "", "with leak 3", "08:49:00", "bench.tester"},
		{"R-0001", "bubbles.png", "seam after mending", "after the run was closed", "08:49:00", "bench.tester"},
		{"R-0002", "worn-knee", "", "with the defect at item 2", "08:49:00", "bench.tester"},
	} {
		name := test.name
		if test.caption != "" {
			name += ": " + test.caption
		}
		want := fmt.Sprintf("%s %s, %s, %s %x file f", name, test.with, test.at, test.by, sha256.Sum256(pictureOf(t, test.name)))
		if !strings.Contains(records[test.run], want) {
			t.Errorf("%q is not on the record of %s", want, test.run)
		}
	}
	if n := strings.Count(records["R-0001"], " file f"); n != 16 {
		t.Errorf("%d photos are on the record of R-0001, want 16:\n%s", n, records["R-0001"])
	}
	if strings.Contains(records["R-0001"], "import-good.csv") {
		t.Error("what is no photo is among them")
	}
}

// TestPhotoOnce: a post that comes twice gives its photos once, and neither an
// edit of it nor what is edited into it later changes them.
func TestPhotoOnce(t *testing.T) {
	d := newBay(t, "bench.tester: @benchbell test HP-07", "bench.tester: ok all",
		"attach bench.tester manometer.jpg", "attach bench.tester bubbles.png", "bench.tester: 17.5")
	p := d.lastOf("bench.tester")
	before := d.run(1).Photos
	if len(before) != 2 || before[0].Sum != sha256.Sum256(pictureOf(t, "manometer.jpg")) || before[1].Sum != sha256.Sum256(pictureOf(t, "bubbles.png")) {
		t.Fatalf("the photos are %+v", before)
	}
	ev := said(p)
	what := ev.What.(chat.Said)
	what.Files = []chat.File{{ID: "f1", Name: "manometer.jpg"}, {ID: "f2", Name: "bubbles.png"}}
	ev.What = what
	mustBeSilent(t, d.bring(ev))
	d.plays("edit bench.tester: 17.6", "! Corrected", "edit bench.tester: nice weather", "!! kept")
	if after := d.run(1).Photos; !slices.Equal(after, before) {
		t.Errorf("the photos are %+v, and were %+v", after, before)
	}
}

// TestPhotoKeepsNothingUp: words with a photo do what they do without one, and a
// wordless edit, a file without an id and an import in the thread are no photos.
func TestPhotoKeepsNothingUp(t *testing.T) {
	d := newBay(t, "bench.tester: @benchbell test HP-07", "bench.tester: ok all", "bench.tester: 17.5", "+10m", "bench.tester: 16.5",
		"attach bench.tester manometer.jpg", "bench.tester: where", "! Hands off", "! Photo kept in the hold.",
		"attach duty.officer import-good.csv", "duty.officer ~R-0001: import", "! Taken: 2 suits", "!! Not kept",
		"attach crew.member manometer.jpg", "crew.member ~R-0001: import", "! only duty.officer may do that", "!! kept",
		"attach bench.tester bubbles.png", "bench.tester ~R-0001: test HP-08", "! Photo kept while preparing.",
		"attach bench.tester bubbles.png", "bench.tester ~R-0001: found HP-09 seam lifts", "! HP-09: not fit", "! Photo kept in the hold",
		"attach bench.tester manometer.jpg", "bench.tester ~R-0001: record", "! Record of R-0001", "! Photo kept in the hold",
	)
	if n := len(d.run(1).Photos); n != 3 {
		t.Errorf("%d photos with R-0001, want 3", n)
	}
	if n := len(d.run(2).Photos); n != 1 {
		t.Errorf("%d photos with R-0002, want that which came with what opened it", n)
	}
	where := d.stage.rootOf(1).where
	where.Root = d.stage.rootOf(1).id
	mustBeSilent(t, d.bring(chat.Event{ID: "x", Who: person("crew.member"), Where: where, What: chat.Said{Post: "x", Text: "hm", Files: []chat.File{{Name: "a.jpg"}}}}))
	if difference := d.sameAfterRestart(); difference != "" {
		t.Errorf("after a restart, %s", difference)
	}
}

// TestPhotoAstray: a photo in the channel is talk, unless its poster has a run
// open: then it is said where it belongs.
func TestPhotoAstray(t *testing.T) {
	d := newBay(t)
	photo := func(id, who, text, root string) chat.Event {
		return chat.Event{ID: id, Who: person(who), Where: chat.Where{Channel: stageCrew, Root: root}, What: chat.Said{Post: id, Text: text, Files: []chat.File{{ID: "f" + id, Name: "IMG.HEIC"}}}}
	}
	mustBeSilent(t, d.bring(photo("1", "bench.tester", "", "")))
	d.plays("bench.tester: @benchbell test HP-07")
	mustSay(t, d.bring(photo("2", "bench.tester", "", "")), "Photo not kept: post it in the thread of R-0001 (HP-07).")
	mustBeSilent(t, d.bring(photo("3", "crew.member", "lunch", "")))
	mustBeSilent(t, d.bring(photo("4", "bench.tester", "lunch", "another thread")))
}

// pictureOf reads a picture that lies beside the scripts.
func pictureOf(t *testing.T, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "scripts", name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}
