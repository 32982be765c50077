package serve

import (
	"crypto/sha256"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/chattest"
	"benchbell/bot/photo"
	"benchbell/core"
	"benchbell/store"
)

// jpeg is how a file of that kind begins.
var jpeg = []byte("\xff\xd8\xff\xe0\x00\x10JFIF\x00 and what follows, invented")

// snaps is a post of the bench tester with files in the first run's thread.
func (s *service) snaps(text string, files ...chat.File) {
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
		if _, _, ok := chat.ParsePhotoKey(w.Key); ok {
			due = append(due, w.Due)
		}
	}
	return due
}

// TestSlowDownload: the bells ring and readings are taken while a file is read.
func TestSlowDownload(t *testing.T) {
	inService(t, 0, func(s *service) {
		release := make(chan bool)
		s.host.Set(func() {
			s.host.Files = map[string][]byte{"f1": jpeg}
			s.host.During = func(c chattest.Call) {
				if c.What == "file f1" {
					<-release
				}
			}
		})
		s.opens("ok all", "17.5", "10m")
		s.news()
		s.snaps("16.5", chat.File{ID: "f1", Name: "IMG_1.jpg", Size: int64(len(jpeg))})
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

// TestSlowDownloadAlone: a file that is read slowly holds up no other.
func TestSlowDownloadAlone(t *testing.T) {
	inService(t, 0, func(s *service) {
		release := make(chan bool)
		s.host.Set(func() {
			s.host.Files = map[string][]byte{"f1": jpeg, "f2": jpeg}
			s.host.During = func(c chattest.Call) {
				if c.What == "file f1" {
					<-release
				}
			}
		})
		s.opens("ok all")
		s.snaps("", chat.File{ID: "f1", Name: "IMG_1.jpg", Size: int64(len(jpeg))})
		s.snaps("", chat.File{ID: "f2", Name: "IMG_2.jpg", Size: int64(len(jpeg))})
		synctest.Wait()
		s.hasSum(1, jpeg)
		if n := len(s.host.Called("file")); s.photos()[0].Settled() || n != 2 {
			t.Errorf("%d calls, and the first file is settled", n)
		}
		close(release)
		synctest.Wait()
		s.hasSum(0, jpeg)
	})
}

// TestDownloadRetried: what cannot be read is tried again with pauses that
// grow, through a restart, and is known in the end.
func TestDownloadRetried(t *testing.T) {
	inService(t, 0, func(s *service) {
		s.opens("ok all")
		s.host.Set(func() {
			s.host.Files = map[string][]byte{"f1": jpeg}
			s.host.Fault = chattest.Only("file", chattest.RetryAfter(0))
		})
		s.snaps("", chat.File{ID: "f1", Name: "IMG_1.jpg", Size: int64(len(jpeg))})
		time.Sleep(2 * time.Hour)
		synctest.Wait()
		tries := s.host.Called("file f1")
		if len(tries) < 15 || len(tries) > 25 {
			t.Errorf("%d tries in two hours", len(tries))
		}
		for i := 2; i < len(tries); i++ {
			if before, after := tries[i-1].At.Sub(tries[i-2].At), tries[i].At.Sub(tries[i-1].At); after < before || after > photo.LongestFetchPause {
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
		time.Sleep(photo.Patience)
		synctest.Wait()
		if s.photos()[0].Settled() {
			t.Error("after a week without the server it is given up")
		}
		s.host.Set(func() { s.host.Fault = nil })
		time.Sleep(photo.LongestFetchPause)
		synctest.Wait()
		s.hasSum(0, jpeg)
		if n := s.log.Count(`msg="photo not read yet, retrying" `); n != 2 { // of each program
			t.Errorf("it stands in the log %d times", n)
		}
	})
}

// TestKilledBeforeTheSum: a photo posted is read by the program that comes after.
func TestKilledBeforeTheSum(t *testing.T) {
	inService(t, 0, func(s *service) {
		s.opens("ok all")
		s.host.Set(func() { s.host.Fault = chattest.Only("file", chattest.RetryAfter(0)) })
		s.snaps("worn", chat.File{ID: "f1", Name: "IMG_1.jpg"})
		if err := s.stop(); err != nil {
			t.Fatal(err)
		}
		s.host.Set(func() { s.host.Fault, s.host.Files = nil, map[string][]byte{"f1": jpeg} })
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
	gone := &chat.SendError{Err: fmt.Errorf("%w: 404", chat.ErrGone), Outcome: chat.Never}
	for name, test := range map[string]struct {
		file    chat.File
		content []byte
		fault   error
		lost    core.Loss
		after   time.Duration
		says    []string
	}{
		"deleted": {
			chat.File{Name: "IMG_1.jpg", Size: 9},
			nil, gone, core.PhotoGone, 0,
			[]string{"08:00:00 photo kept in the expansion", "08:00:00 not kept: the chat server has img1.jpg no more. post it again. @bench.tester"},
		},
		"refused for a week": {
			chat.File{Name: "IMG_1.jpg", Size: 9},
			nil, chattest.Never, core.PhotoGone, photo.Patience + time.Hour,
			[]string{"08:00:00 photo kept in the expansion"},
		},
		"cut short for a week": {
			chat.File{Name: "IMG_1.jpg", Size: 100},
			jpeg, nil, core.PhotoGone, photo.Patience + time.Hour,
			[]string{"08:00:00 photo kept in the expansion"},
		},
		"too large": {
			chat.File{Name: "IMG_1.jpg", Size: chat.LargestPhoto + 1},
			nil, nil, core.PhotoTooLarge, 0,
			[]string{"08:00:00 not kept: img1.jpg is larger than 100 mb. post a smaller one."},
		},
		"a PDF": {
			chat.File{Name: "certificate.pdf", Size: 20},
			[]byte("%PDF-1.7 and so on.."), nil, core.NoPhoto, 0,
			[]string{"08:00:00 not kept: certificate.pdf is no photo"},
		},
		"a PDF by the name of a photo": {
			chat.File{Name: "IMG_1.jpg", Size: 20},
			[]byte("%PDF-1.7 and so on.."), nil, core.NoPhoto, 0,
			[]string{"08:00:00 photo kept in the expansion", "08:00:00 not kept: img1.jpg is no photo"},
		},
		"a photo by another name": {
			chat.File{Name: "scan.pdf", Size: int64(len(jpeg))},
			jpeg, nil, "", 0,
			[]string{"08:00:00 scan.pdf is a photo: kept in the expansion."},
		},
		"nothing": {
			chat.File{Name: "IMG_1.jpg"},
			nil, nil, core.NoPhoto, 0,
			[]string{"08:00:00 photo kept in the expansion", "08:00:00 not kept: img1.jpg is no photo"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			inService(t, 0, func(s *service) {
				s.opens("ok all")
				s.news()
				s.host.Set(func() {
					s.host.Files = map[string][]byte{"f1": test.content}
					s.host.Fault = chattest.Only("file", test.fault)
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
			s.host.Set(func() { s.host.Files = map[string][]byte{"f1": []byte("<html>sign in</html>")} })
			s.snaps("", chat.File{ID: "f1", Name: "IMG_1.jpg", Size: int64(len(jpeg))})
			if s.photos()[0].Settled() {
				t.Error("it is taken for the file")
			}
			s.host.Set(func() { s.host.Files["f1"] = jpeg })
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
		s.host.Set(func() {
			s.host.Files = map[string][]byte{"f1": jpeg}
			s.host.During = func(c chattest.Call) {
				if c.What == "file f1" {
					<-release
				}
			}
		})
		s.snaps("", chat.File{ID: "f1", Name: "IMG_1.jpg"})
		s.disk.Full.Store(true)
		close(release)
		time.Sleep(time.Minute)
		if len(s.photos()) != 1 || s.photos()[0].Settled() {
			t.Errorf("the photos are %+v", s.photos())
		}
		s.disk.Full.Store(false)
		time.Sleep(time.Minute)
		synctest.Wait()
		s.hasSum(0, jpeg)
	})
}

// TestPhotoWakes: the keys of photos are read back, and no others are.
func TestPhotoWakes(t *testing.T) {
	run, file, ok := chat.ParsePhotoKey(chat.PhotoKey(42, "a/b"))
	if !ok || run != 42 || file != "a/b" {
		t.Errorf("got %v, %q, %v", run, file, ok)
	}
	for _, key := range []string{"", "look", "R-0001", "photo/", "photo/x/f"} {
		if _, _, ok := chat.ParsePhotoKey(key); ok {
			t.Errorf("%q is taken for one", key)
		}
	}
	// One of which nothing is known is dropped.
	inService(t, 0, func(s *service) {
		s.caughtUp()
		key := chat.PhotoKey(7, "f1")
		if err := s.store.Commit(&store.Batch{Wakes: map[string]time.Time{key: s.host.Now()}}); err != nil {
			t.Fatal(err)
		}
		s.mustBring("bench.tester", chat.Where{Channel: "dm", Direct: true}, s.said("help"))
		if len(s.waiting()) != 0 || len(s.host.Called("file")) != 0 {
			t.Error("it is waited for")
		}
	})
}
