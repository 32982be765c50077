package bot

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"benchbell/core"
	"benchbell/store"
)

// pictureOf reads a picture that lies beside the scripts.
func pictureOf(t *testing.T, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "testdata", "scripts", name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// TestPhotosOnRecord plays the script of photos. Its records then name each
// photo, with what it came with and with the SHA-256 of the file.
func TestPhotosOnRecord(t *testing.T) {
	script, err := os.ReadFile("../testdata/scripts/photos.txt")
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

// jpeg is how a file of that kind begins.
var jpeg = []byte("\xff\xd8\xff\xe0\x00\x10JFIF\x00 and what follows, invented")

// snaps is a post of the bench tester with files in the first run's thread.
func (s *service) snaps(text string, files ...File) {
	s.t.Helper()
	said := s.said(text)
	said.Files = files
	s.mustBring("bench.tester", s.thread(), said)
}

// photos are those of the first run.
func (s *service) photos() []core.Photo {
	s.t.Helper()
	entries, err := s.store.OfRun(1)
	if err != nil {
		s.t.Fatal(err)
	}
	return core.Replay(entries).Photos
}

func (s *service) hasSum(n int, content []byte) {
	s.t.Helper()
	photos := s.photos()
	if len(photos) <= n || photos[n].Sum != sha256.Sum256(content) {
		s.t.Errorf("photo %d of %+v has not the sum of its file", n, photos)
	}
}

// waiting returns the wake times of photos.
func (s *service) waiting() (due []time.Time) {
	s.t.Helper()
	wakes, err := s.store.Wakes()
	if err != nil {
		s.t.Fatal(err)
	}
	for _, w := range wakes {
		if _, _, ok := ofPhotoKey(w.Key); ok {
			due = append(due, w.Due)
		}
	}
	return due
}

// TestSlowDownload: the bells ring and readings are taken while a file is read.
func TestSlowDownload(t *testing.T) {
	inService(t, 0, func(s *service) {
		release := make(chan bool)
		s.host.set(func() {
			s.host.files = map[string][]byte{"f1": jpeg}
			s.host.during = func(c call) {
				if c.what == "file f1" {
					<-release
				}
			}
		})
		s.opens("ok all", "17.5", "10m")
		s.news()
		s.snaps("16.5", File{ID: "f1", Name: "IMG_1.jpg", Size: int64(len(jpeg))})
		s.expect("08:10:00 hp-07 · 16.5 mbar. hold until 08:16:00. hands off. limit: ending 13.5 mbar or more. photo kept with reading 2.")
		time.Sleep(6 * time.Minute)
		s.expect("08:15:30 hp-07 · 30 s left", "08:16:00 hp-07 · bell!")
		s.says("15.0")
		s.expect("08:16:00 pass hp-07", "08:16:00 unplug and put away")
		if len(s.waiting()) != 1 {
			t.Error("that the file is to be read is not kept")
		}
		close(release)
		synctest.Wait()
		s.hasSum(0, jpeg)
		if len(s.waiting()) != 0 {
			t.Error("it is to be read again")
		}
		s.expect()
	})
}

// TestDownloadRetried: what cannot be read is tried again with pauses that
// grow, through a restart, and is known in the end.
func TestDownloadRetried(t *testing.T) {
	inService(t, 0, func(s *service) {
		s.opens("ok all")
		s.host.set(func() {
			s.host.files = map[string][]byte{"f1": jpeg}
			s.host.fault = only("file", retryAfter(0))
		})
		s.snaps("", File{ID: "f1", Name: "IMG_1.jpg", Size: int64(len(jpeg))})
		time.Sleep(2 * time.Hour)
		synctest.Wait()
		tries := s.host.called("file f1")
		if len(tries) < 15 || len(tries) > 25 {
			t.Errorf("%d tries in two hours", len(tries))
		}
		for i := 2; i < len(tries); i++ {
			if before, after := tries[i-1].at.Sub(tries[i-2].at), tries[i].at.Sub(tries[i-1].at); after < before || after > longestFetchPause {
				t.Errorf("%v after %v between tries", after, before)
			}
		}
		if err := s.stop(); err != nil {
			t.Fatal(err)
		}
		if due := s.waiting(); len(due) != 1 || !due[0].After(s.host.Now()) {
			t.Errorf("it is to be read at %v", due)
		}
		s.start()
		s.caughtUp()
		time.Sleep(patience)
		synctest.Wait()
		if s.photos()[0].Settled() {
			t.Error("after a week without the server it is given up")
		}
		s.host.set(func() { s.host.fault = nil })
		time.Sleep(longestFetchPause)
		synctest.Wait()
		s.hasSum(0, jpeg)
		if n := s.log.count("cannot be read from the chat server"); n != 2 { // of each program
			t.Errorf("it stands in the log %d times", n)
		}
	})
}

// TestKilledBeforeTheSum: a photo posted is read by the program that comes after.
func TestKilledBeforeTheSum(t *testing.T) {
	inService(t, 0, func(s *service) {
		s.opens("ok all")
		s.host.set(func() { s.host.fault = only("file", retryAfter(0)) })
		s.snaps("worn", File{ID: "f1", Name: "IMG_1.jpg"})
		if err := s.stop(); err != nil {
			t.Fatal(err)
		}
		s.host.set(func() { s.host.fault, s.host.files = nil, map[string][]byte{"f1": jpeg} })
		s.start()
		s.caughtUp()
		time.Sleep(time.Minute)
		synctest.Wait()
		s.hasSum(0, jpeg)
		if got := s.photos()[0]; got.Caption != "worn" || got.Type != "image/jpeg" {
			t.Errorf("the photo is %+v", got)
		}
	})
}

// TestFileThatIsNone: what became of a file that is no photo, or is none any
// more, stands on record and is said; what may be a trouble of the server's is
// waited for.
func TestFileThatIsNone(t *testing.T) {
	gone := &SendError{Err: fmt.Errorf("%w: 404", ErrGone)}
	for name, test := range map[string]struct {
		file    File
		content []byte
		fault   error
		lost    core.Loss
		after   time.Duration
		says    []string
	}{
		"deleted": {
			File{Name: "IMG_1.jpg", Size: 9},
			nil, gone, core.PhotoGone, 0,
			[]string{"08:00:00 photo kept in the expansion", "08:00:00 not kept: the chat server has img1.jpg no more. post it again. @bench.tester"},
		},
		"refused for a week": {
			File{Name: "IMG_1.jpg", Size: 9},
			nil, never, core.PhotoGone, patience + time.Hour,
			[]string{"08:00:00 photo kept in the expansion"},
		},
		"cut short for a week": {
			File{Name: "IMG_1.jpg", Size: 100},
			jpeg, nil, core.PhotoGone, patience + time.Hour,
			[]string{"08:00:00 photo kept in the expansion"},
		},
		"too large": {
			File{Name: "IMG_1.jpg", Size: largestPhoto + 1},
			nil, nil, core.PhotoTooLarge, 0,
			[]string{"08:00:00 not kept: img1.jpg is larger than 100 mb. post a smaller one."},
		},
		"a PDF": {
			File{Name: "certificate.pdf", Size: 20},
			[]byte("%PDF-1.7 and so on.."), nil, core.NoPhoto, 0,
			[]string{"08:00:00 not kept: certificate.pdf is no photo"},
		},
		"a PDF by the name of a photo": {
			File{Name: "IMG_1.jpg", Size: 20},
			[]byte("%PDF-1.7 and so on.."), nil, core.NoPhoto, 0,
			[]string{"08:00:00 photo kept in the expansion", "08:00:00 not kept: img1.jpg is no photo"},
		},
		"a photo by another name": {
			File{Name: "scan.pdf", Size: int64(len(jpeg))},
			jpeg, nil, "", 0,
			[]string{"08:00:00 scan.pdf is a photo: kept in the expansion."},
		},
		"nothing": {
			File{Name: "IMG_1.jpg"},
			nil, nil, core.NoPhoto, 0,
			[]string{"08:00:00 photo kept in the expansion", "08:00:00 not kept: img1.jpg is no photo"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			inService(t, 0, func(s *service) {
				s.opens("ok all")
				s.news()
				s.host.set(func() {
					s.host.files = map[string][]byte{"f1": test.content}
					s.host.fault = only("file", test.fault)
				})
				test.file.ID = "f1"
				s.snaps("", test.file)
				s.expect(test.says...)
				time.Sleep(test.after)
				synctest.Wait()
				if got := s.photos(); len(got) != 1 || got[0].Lost != test.lost || !got[0].Settled() {
					t.Errorf("the photos are %+v", got)
				}
				if len(s.waiting()) != 0 {
					t.Error("it is to be read again")
				}
			})
		})
	}
	t.Run("a page of a proxy's", func(t *testing.T) {
		inService(t, 0, func(s *service) {
			s.opens("ok all")
			s.host.set(func() { s.host.files = map[string][]byte{"f1": []byte("<html>sign in</html>")} })
			s.snaps("", File{ID: "f1", Name: "IMG_1.jpg", Size: int64(len(jpeg))})
			if s.photos()[0].Settled() {
				t.Error("it is taken for the file")
			}
			s.host.set(func() { s.host.files["f1"] = jpeg })
			time.Sleep(time.Minute)
			synctest.Wait()
			s.hasSum(0, jpeg)
		})
	})
}

// TestPhotoDiskFull: a sum that cannot be kept is worked out again when it can.
func TestPhotoDiskFull(t *testing.T) {
	inService(t, 0, func(s *service) {
		s.opens("ok all")
		release := make(chan bool)
		s.host.set(func() {
			s.host.files = map[string][]byte{"f1": jpeg}
			s.host.during = func(c call) {
				if c.what == "file f1" {
					<-release
				}
			}
		})
		s.snaps("", File{ID: "f1", Name: "IMG_1.jpg"})
		s.disk.full.Store(true)
		close(release)
		time.Sleep(time.Minute)
		if len(s.photos()) != 1 || s.photos()[0].Settled() {
			t.Errorf("the photos are %+v", s.photos())
		}
		s.disk.full.Store(false)
		time.Sleep(time.Minute)
		synctest.Wait()
		s.hasSum(0, jpeg)
	})
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
	what := ev.What.(Said)
	what.Files = []File{{ID: "f1", Name: "manometer.jpg"}, {ID: "f2", Name: "bubbles.png"}}
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
		"attach crew.member manometer.jpg", "crew.member ~R-0001: import", "! takes duty.officer", "!! kept",
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
	mustBeSilent(t, d.bring(Event{ID: "x", Who: person("crew.member"), Where: where, What: Said{Post: "x", Text: "hm", Files: []File{{Name: "a.jpg"}}}}))
	if difference := d.sameAfterRestart(); difference != "" {
		t.Errorf("after a restart, %s", difference)
	}
}

// TestPhotoAstray: a photo in the channel is talk, unless its poster has a run
// open: then it is said where it belongs.
func TestPhotoAstray(t *testing.T) {
	d := newBay(t)
	photo := func(id, who, text, root string) Event {
		return Event{ID: id, Who: person(who), Where: Where{Channel: stageCrew, Root: root}, What: Said{Post: id, Text: text, Files: []File{{ID: "f" + id, Name: "IMG.HEIC"}}}}
	}
	mustBeSilent(t, d.bring(photo("1", "bench.tester", "", "")))
	d.plays("bench.tester: @benchbell test HP-07")
	mustSay(t, d.bring(photo("2", "bench.tester", "", "")), "Photo not kept: post it in the thread of R-0001 (HP-07).")
	mustBeSilent(t, d.bring(photo("3", "crew.member", "lunch", "")))
	mustBeSilent(t, d.bring(photo("4", "bench.tester", "lunch", "another thread")))
}

func TestImageType(t *testing.T) {
	box := func(brand string) string { return "\x00\x00\x00\x18ftyp" + brand + "\x00\x00\x00\x00mif1heic" }
	for _, test := range []struct{ name, head, want string }{
		{"JPEG", string(jpeg), "image/jpeg"},
		{"PNG", "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "image/png"},
		{"WebP", "RIFF\x24\x00\x00\x00WEBPVP8 ", "image/webp"},
		{"GIF", "GIF89a\x01\x00", "image/gif"},
		{"HEIC", box("heic"), "image/heic"},
		{"HEIC of ten bits", box("heix"), "image/heic"},
		{"HEIF", box("mif1"), "image/heif"},
		{"AVIF", box("avif"), "image/avif"},
		{"TIFF", "II*\x00\x08\x00\x00\x00", "image/tiff"},
		{"TIFF of the other order", "MM\x00*\x00\x00\x00\x08", "image/tiff"},
		{"a film", box("isom"), ""},
		{"a film of a phone's", box("qt  "), ""},
		{"a PDF", "%PDF-1.7", ""},
		{"a table", "tag,size\nHP-01,L\n", ""},
		{"a table that begins as a bitmap does", "BM,1\n", ""},
		{"a web page", "<!DOCTYPE html>", ""},
		{"a drawing", `<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg">`, ""},
		{"nothing", "", ""},
		{"a box cut short", "\x00\x00\x00\x18ftyp", ""},
	} {
		if got := imageType([]byte(test.head)); got != test.want {
			t.Errorf("%s is %q, want %q", test.name, got, test.want)
		}
	}
	for _, name := range []string{"manometer.jpg", "bubbles.png", "worn-knee"} {
		if imageType(pictureOf(t, name)) == "" {
			t.Errorf("%s is none", name)
		}
	}
}

// TestFileRefused: a file that the server does not take holds nothing up, and
// whoever looks for it is told, before the mention that ends the post.
func TestFileRefused(t *testing.T) {
	inRound(t, func(r *round) {
		r.sends(card(1, "card"))
		r.board.set(func() {
			r.board.fault = func(c call) error {
				if c.file != "" {
					return &SendError{Err: errors.New("no files here"), FileRefused: true}
				}
				return nil
			}
		})
		verdict, record := reply(1, "a1", "PASS\n@bench.tester"), reply(1, "a2", "Record of R-0001.")
		verdict.File, verdict.FileName = []byte("png"), "R-0001.png"
		record.File, record.FileName = []byte("pdf"), "R-0001.pdf"
		r.sends(verdict, record)
		r.expect("card",
			"PASS\nThe chat server refused the file R-0001.png: ask its administrator.\n@bench.tester",
			"Record of R-0001.\nThe chat server refused the file R-0001.pdf: ask its administrator.")
		if pending, err := r.store.Pending(); err != nil || len(pending) > 0 {
			t.Errorf("still to be said: %v, %v", pending, err)
		}
	})
}

// TestPhotoWakes: the keys of photos are read back, and no others are.
func TestPhotoWakes(t *testing.T) {
	run, file, ok := ofPhotoKey(photoKey(42, "a/b"))
	if !ok || run != 42 || file != "a/b" {
		t.Errorf("got %v, %q, %v", run, file, ok)
	}
	for _, key := range []string{"", "look", "R-0001", "photo/", "photo/x/f"} {
		if _, _, ok := ofPhotoKey(key); ok {
			t.Errorf("%q is taken for one", key)
		}
	}
	// One of which nothing is known is dropped.
	inService(t, 0, func(s *service) {
		s.caughtUp()
		key := photoKey(7, "f1")
		if err := s.store.Commit(&store.Batch{Wakes: map[string]time.Time{key: s.host.Now()}}); err != nil {
			t.Fatal(err)
		}
		s.mustBring("bench.tester", Where{Channel: "dm", Direct: true}, s.said("help"))
		if len(s.waiting()) != 0 || len(s.host.called("file")) != 0 {
			t.Error("it is waited for")
		}
	})
}
