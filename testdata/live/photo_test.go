package live

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/mattermost/mattermost/server/public/model"
)

// picture reads one of the invented pictures that lie beside the scripts.
func picture(t *testing.T, name string) []byte {
	t.Helper()
	content, err := os.ReadFile(filepath.Join("..", "scripts", name))
	if err != nil {
		t.Fatal(err)
	}
	return content
}

// record asks for a run's record until all photos on it were read, and returns
// its text with one blank between words.
func (b *bench) record(who *Person, run string) string {
	b.t.Helper()
	for {
		answer := b.ask(who, "record "+run)
		if len(answer.Files) != 1 {
			b.t.Fatalf("the record comes with %d files: %q", len(answer.Files), answer.Text)
		}
		if answer.Says("still to be read") {
			continue
		}
		_, pdf := who.Download(answer.Files[0])
		cmd := exec.CommandContext(b.t.Context(), "pdftotext", "-raw", "-", "-")
		cmd.Stdin = bytes.NewReader(pdf)
		text, err := cmd.Output()
		if err != nil {
			b.t.Fatalf("pdftotext, which is in Debian's poppler-utils: %v", err)
		}
		return strings.Join(strings.Fields(string(text)), " ")
	}
}

// TestPhotos is about photos from phones: each stands on the record with the
// SHA-256 of what was uploaded, also one posted while the bot was not there.
func TestPhotos(t *testing.T) {
	t.Parallel()
	b := openBench(t)
	jpeg, png, bare := picture(t, "manometer.jpg"), picture(t, "bubbles.png"), picture(t, "worn-knee")
	card, _ := b.hold(b.tester, "HP-08 quick with M-1", quickHold)
	b.crew.AttachReply(card, "looks worn here", "worn-knee", bare)
	b.tester.AwaitText("Photo and words kept in the hold.")
	b.tester.AwaitText("Bell!")
	b.tester.AttachReply(card, "14.1", "IMG_0412.jpg", jpeg)
	verdict := b.tester.AwaitText("PASS HP-08")
	if !verdict.Says("Photo kept with reading 3.") {
		t.Errorf("the verdict is %q", verdict.Text)
	}
	b.crew.AttachReply(card, "", "screen.png", png)
	b.tester.AwaitText("Photo kept while unplugging.")
	b.tester.AttachReply(card, "", "certificate.pdf", []byte("%PDF-1.4 invented"))
	b.tester.AwaitText("Not kept: certificate.pdf is no photo")

	b.bot.Stop()
	b.tester.AttachReply(card, "note seen while the bot was away", "IMG_0413.jpg", jpeg)
	b.bot.Start()
	b.tester.AwaitText("Photo kept with the note.")
	b.bot.Kill()
	b.tester.AttachReply(card, "", "IMG_0414.png", png)
	b.bot.Start()
	b.tester.AwaitText("Photo kept while unplugging.")
	b.putAway(b.tester, card)

	text := b.record(b.officer, "R-0001")
	for _, photo := range []struct {
		name, with string
		content    []byte
	}{
		{"worn-knee: looks worn here", "in the hold", bare},
		{"IMG_0412.jpg", "with reading 3", jpeg},
		{"screen.png", "while unplugging", png},
		{"IMG_0413.jpg", "with the note", jpeg},
		{"IMG_0414.png", "while unplugging", png},
	} {
		begins := photo.name + " " + photo.with + ", "
		_, rest, found := strings.Cut(text, begins)
		sum := fmt.Sprintf("%x", sha256.Sum256(photo.content))
		if at := strings.Index(rest, sum); !found || at < 0 || at > 60 {
			t.Errorf("the record does not name %q with %s:\n%s", begins, sum, text)
		}
	}
	if strings.Contains(text, "certificate.pdf") {
		t.Errorf("what is no photo is on the record:\n%s", text)
	}
	b.settled(b.tester).CheckLines(t)
	checkLog(t, b.bot)
}

// TestPhotoDeleted: what the server says of the file of a post that was deleted
// is what the bot takes for a file that is gone.
func TestPhotoDeleted(t *testing.T) {
	t.Parallel()
	station := ground.Open(t)
	tester := station.Person("bench.tester")
	post := tester.Attach(station.Crew, "", "IMG_0415.jpg", picture(t, "manometer.jpg"))
	bot := station.client(station.botToken)
	if content, _, err := bot.GetFile(t.Context(), post.Files[0]); err != nil || len(content) == 0 {
		t.Fatalf("the bot cannot read the file: %v", err)
	}
	tester.Delete()
	again := time.NewTicker(retryEvery)
	defer again.Stop()
	ctx, cancel := context.WithTimeout(t.Context(), station.Patience)
	defer cancel()
	for { // the server deletes the files of a post after the post
		_, resp, err := bot.GetFile(ctx, post.Files[0])
		var answer *model.AppError
		switch {
		case err == nil:
		case errors.As(err, &answer) && resp.StatusCode == http.StatusNotFound && answer.Id == "app.file_info.get.app_error":
			return
		default:
			t.Fatalf("the server says %v", err)
		}
		select {
		case <-again.C:
		case <-ctx.Done():
			t.Fatal("the file of a post that was deleted can still be read")
		}
	}
}
