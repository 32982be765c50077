package mattermost

import (
	"crypto/sha256"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/core"
)

// snaps is a post of the tester's in the thread of the first run, with a photo
// attached, and tells the id of its file.
func (b *bench) snaps(text, name string, content []byte) string {
	b.t.Helper()
	file := model.NewId()
	b.locked(func() {
		if b.files == nil {
			b.files = make(map[string][]byte)
		}
		b.files[file] = content
	})
	b.saves(&model.Post{
		UserId: testerID, ChannelId: crewID, RootId: b.withKey("R-0001/card"), Message: text, FileIds: model.StringArray{file},
		Metadata: &model.PostMetadata{Files: []*model.FileInfo{{Id: file, Name: name, Size: int64(len(content))}}},
	})
	return file
}

// serves answers requests for files in its own way; false leaves them alone.
func (b *bench) serves(how func(w http.ResponseWriter, file string) bool) {
	b.locked(func() {
		b.before = func(w http.ResponseWriter, r *http.Request) bool {
			file, ok := strings.CutPrefix(r.URL.Path, model.APIURLSuffix+"/files/")
			return ok && r.Method == http.MethodGet && how(w, file)
		}
	})
}

// TestPhotos is a run with photos, through downloads that take minutes, break
// off, or find the storage down, a file that is deleted, and a program that is
// killed between post and sum.
func TestPhotos(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		jpeg := []byte("\xff\xd8\xff\xe0\x00\x10JFIF\x00" + strings.Repeat("an invented photo ", 5000))
		want := core.Sum(sha256.Sum256(jpeg))
		b := newBench(t, 0)
		b.at("08:30:00")
		b.says(testerID, crewID, "", "@benchbell test HP-07 with M-1")
		synctest.Wait()
		b.tester("ok all")
		b.at("08:31:00")
		b.tester("17.5")
		b.at("08:41:00")
		b.expectAround("HP-07 · Expansion is over.")

		// A line so slow that the download takes longer than the hold.
		b.serves(func(http.ResponseWriter, string) bool { time.Sleep(7 * time.Minute); return false })
		slow := b.snaps("16.5", "IMG_1.jpg", jpeg)
		b.at("08:47:05")
		b.expect("08:41:00 HP-07 · 16.5 mbar. Hold until 08:47:00. Hands off. Limit: ending 13.5 mbar or more. Photo kept with reading 2.",
			"08:46:30 HP-07 · 30 s left.", "08:47:00 HP-07 · Bell!")
		b.tester("15.0")
		b.at("08:47:10")
		b.expect("08:47:05 PASS HP-07", "08:47:05 Unplug and put away HP-07")

		// One that breaks off half-way, and a storage that is down for a while.
		b.at("08:49:00")
		tries := make(map[string]int)
		b.serves(func(w http.ResponseWriter, file string) bool {
			switch tries[file]++; {
			case tries[file] == 1:
				w.Write(jpeg[:len(jpeg)/2])
				panic(http.ErrAbortHandler)
			case tries[file] < 4:
				refuse(w, 404, "api.file.file_reader.app_error")
				return true
			}
			return false
		})
		broken := b.snaps("", "IMG_2.HEIC", jpeg)
		b.at("08:55:00")
		b.expect("08:49:00 Photo kept while unplugging.")

		// Killed between post and sum.
		b.serves(func(w http.ResponseWriter, _ string) bool { sayHTML(w, 502); return true })
		killed := b.snaps("left glove", "IMG_3.jpg", jpeg)
		b.at("08:55:10")
		b.expect("08:55:00 Photo and words kept while unplugging.")
		b.kill()
		b.serves(func(http.ResponseWriter, string) bool { return false })
		b.at("08:56:00")
		b.start()

		// Posted and deleted before it could be read.
		b.at("08:57:00")
		b.serves(func(w http.ResponseWriter, _ string) bool {
			refuse(w, 404, "app.file_info.get.app_error")
			return true
		})
		gone := b.snaps("", "IMG_4.jpg", jpeg)
		b.at("08:58:00")
		b.expect("08:57:00 Photo kept while unplugging.",
			"08:57:00 Not kept: the chat server has IMG_4.jpg no more. Post it again. @bench.tester")
		b.tester("ok all")
		b.at("08:58:10")
		b.tester("ok 1")
		b.at("08:58:20")
		b.tester("ok 2")
		b.at("08:59:00")

		run := b.checkInTheEnd()
		if len(run.Photos) != 4 || run.Phase != core.Over {
			t.Errorf("the run is %v, its photos %+v", run.Phase, run.Photos)
		}
		for file, with := range map[string]core.Link{
			slow:   {To: core.WithReading, N: 2, Phase: core.Expansion},
			broken: {To: core.WithPhase, Phase: core.Restore},
			killed: {To: core.WithPhase, Phase: core.Restore},
		} {
			if p, _ := run.Photo(file); p.Sum != want || p.Type != "image/jpeg" || p.With != with {
				t.Errorf("the photo is %+v, want it with the sum %v and linked to %+v", p, want, with)
			}
		}
		if p, _ := run.Photo(gone); p.Lost != core.PhotoGone {
			t.Errorf("the photo that was deleted is %+v", p)
		}
	})
}
