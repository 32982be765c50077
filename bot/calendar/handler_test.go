package calendar

import (
	"bytes"
	"errors"
	"io"
	"mime"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"
)

const secret = "correct-horse_battery9"

func TestCheckSecret(t *testing.T) {
	for s, want := range map[string]string{
		secret:                   "",
		strings.Repeat("a", 16):  "",
		strings.Repeat("a", 15):  "16 characters at least",
		"":                       "16 characters at least",
		"with blanks in its way": "letters, digits, - and _ only",
		"slashes/are/elsewhere":  "letters, digits, - and _ only",
		"per%20cent%20encoded":   "letters, digits, - and _ only",
		"ümlauts-are-encoded-ü":  "letters, digits, - and _ only",
		secret + "\n":            "letters, digits, - and _ only",
	} {
		err := CheckSecret(s)
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("CheckSecret(%q) = %v, want %q", s, err, want)
		}
	}
}

// site serves a feed, and counts how often it was made.
type site struct {
	t    *testing.T
	url  string
	feed Feed
	err  error
	made int
}

func newSite(t *testing.T, secret string) *site {
	t.Helper()
	s := &site{t: t, feed: harrowPoint()}
	server := httptest.NewServer(Handler(secret, func() (Feed, error) {
		s.made++
		return s.feed, s.err
	}))
	t.Cleanup(server.Close)
	s.url = server.URL
	return s
}

// ask makes a request and returns the answer and its body.
func (s *site) ask(method, path string, header ...string) (*http.Response, []byte) {
	s.t.Helper()
	r, err := http.NewRequestWithContext(s.t.Context(), method, s.url+path, nil)
	if err != nil {
		s.t.Fatal(err)
	}
	for i := 0; i < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return answer, body
}

func TestHandler(t *testing.T) {
	s := newSite(t, secret)
	want := written(t, s.feed)
	answer, body := s.ask("GET", "/calendar/"+secret+".ics")
	if answer.StatusCode != http.StatusOK || !bytes.Equal(body, want) {
		t.Fatalf("status %d, %d bytes, want %d", answer.StatusCode, len(body), len(want))
	}
	holdToRules(t, body)
	kind, params, err := mime.ParseMediaType(answer.Header.Get("Content-Type"))
	if kind != "text/calendar" || params["charset"] != "utf-8" || params["method"] != "PUBLISH" || err != nil {
		t.Errorf("type %q %q, %v", kind, params, err)
	}
	for name, want := range map[string]string{
		"Last-Modified":          "Mon, 02 Mar 2026 08:30:15 GMT",
		"Cache-Control":          "private, no-cache",
		"X-Content-Type-Options": "nosniff",
		"Content-Length":         strconv.Itoa(len(want)),
	} {
		if got := answer.Header.Get(name); got != want {
			t.Errorf("%s is %q, want %q", name, got, want)
		}
	}
	head, nothing := s.ask("HEAD", "/calendar/"+secret+".ics")
	if head.StatusCode != http.StatusOK || len(nothing) > 0 || head.Header.Get("Content-Length") != strconv.Itoa(len(want)) || head.Header.Get("ETag") != answer.Header.Get("ETag") {
		t.Errorf("HEAD: status %d, %d bytes, %v", head.StatusCode, len(nothing), head.Header)
	}
}

// Who does not know the secret learns nothing, whatever the method, and no
// calendar is made for him.
func TestHandlerWithoutTheSecret(t *testing.T) {
	s := newSite(t, secret)
	var first http.Header
	for _, path := range []string{
		"/", "/calendar", "/calendar/", "/calendar/.ics", "/calendar/" + secret, "/calendar/" + secret + ".ICS", "/" + secret + ".ics",
		"/calendar/" + secret[1:] + ".ics", "/calendar/" + secret + "x.ics", "/calendar/" + strings.ToUpper(secret) + ".ics",
		"/calendar/" + secret + ".ics/", "/calendar/x/../" + secret + ".ics", "/calendar/wrong-horse_battery9.ics", "//calendar/" + secret + ".ics",
		"/calendar/?" + secret + ".ics", "/calendar/%00.ics", "/robots.txt", "/calendar/" + strings.Repeat("a", 4000) + ".ics",
	} {
		for _, method := range []string{"GET", "HEAD", "POST", "DELETE"} {
			answer, body := s.ask(method, path)
			if answer.StatusCode != http.StatusNotFound || bytes.Contains(body, []byte("HP-07")) || answer.Header.Get("Allow")+answer.Header.Get("ETag") != "" {
				t.Errorf("%s %s: status %d, %v, %q", method, path, answer.StatusCode, answer.Header, body)
			}
			if method != "HEAD" && first == nil {
				first = answer.Header
			}
			if method != "HEAD" && answer.Header.Get("Content-Length") != first.Get("Content-Length") {
				t.Errorf("%s %s is refused in another way", method, path)
			}
		}
	}
	if s.made > 0 {
		t.Errorf("%d calendars were made", s.made)
	}
}

// A secret that is none opens nothing, not even to those who know it.
func TestHandlerWithABadSecret(t *testing.T) {
	for _, bad := range []string{"", "short", "fifteen-letters", "sixteen letters!"} {
		s := newSite(t, bad)
		if answer, _ := s.ask("GET", "/calendar/"+strings.ReplaceAll(bad, " ", "%20")+".ics"); answer.StatusCode != http.StatusNotFound {
			t.Errorf("secret %q: status %d", bad, answer.StatusCode)
		}
	}
}

func TestHandlerMethods(t *testing.T) {
	s := newSite(t, secret)
	for _, method := range []string{"POST", "PUT", "DELETE", "PATCH", "OPTIONS", "PROPFIND", "REPORT"} {
		answer, body := s.ask(method, "/calendar/"+secret+".ics")
		if answer.StatusCode != http.StatusMethodNotAllowed || answer.Header.Get("Allow") != "GET, HEAD" || bytes.Contains(body, []byte("BEGIN")) {
			t.Errorf("%s: status %d, %v, %q", method, answer.StatusCode, answer.Header, body)
		}
	}
}

// A program that has the calendar is told so, and only then.
func TestHandlerUnchanged(t *testing.T) {
	s := newSite(t, secret)
	path := "/calendar/" + secret + ".ics"
	first, _ := s.ask("GET", path)
	tag, since := first.Header.Get("ETag"), first.Header.Get("Last-Modified")
	status := func(what string, want int, header ...string) {
		t.Helper()
		if answer, body := s.ask("GET", path, header...); answer.StatusCode != want || (len(body) > 0) != (want == http.StatusOK) {
			t.Errorf("%s: status %d with %d bytes, want %d", what, answer.StatusCode, len(body), want)
		}
	}
	status("the same tag", http.StatusNotModified, "If-None-Match", tag)
	status("one of several tags", http.StatusNotModified, "If-None-Match", `"x", `+tag)
	status("another tag", http.StatusOK, "If-None-Match", `"x"`)
	status("another tag with the moment", http.StatusOK, "If-None-Match", `"x"`, "If-Modified-Since", since)
	status("the moment", http.StatusNotModified, "If-Modified-Since", since)
	status("a moment before", http.StatusOK, "If-Modified-Since", morning.Add(-time.Hour).Format(http.TimeFormat))
	status("a moment after", http.StatusOK, "If-Modified-Since", morning.Add(time.Hour).Format(http.TimeFormat))
	status("no moment", http.StatusOK, "If-Modified-Since", "yesterday")

	s.feed.Events = s.feed.Events[1:]
	status("an event gone", http.StatusOK, "If-None-Match", tag)
	s.feed.Modified = morning.Add(-24 * time.Hour)
	status("a test brought in from paper", http.StatusOK, "If-Modified-Since", since)
	s.feed.Modified = time.Time{}
	if answer, _ := s.ask("GET", path, "If-Modified-Since", since); answer.StatusCode != http.StatusOK || answer.Header.Get("Last-Modified") != "" {
		t.Errorf("no moment known: status %d, %v", answer.StatusCode, answer.Header)
	}
}

// What went wrong is nobody's business but the keeper's.
func TestHandlerFails(t *testing.T) {
	s := newSite(t, secret)
	for what, fail := range map[string]func(){
		"a feed that fails":   func() { s.err = errors.New("the disk of HP-07 is on fire") },
		"a feed out of order": func() { s.feed, s.err = Feed{Name: "HP-07"}, nil },
	} {
		fail()
		answer, body := s.ask("GET", "/calendar/"+secret+".ics")
		if answer.StatusCode != http.StatusInternalServerError || bytes.Contains(body, []byte("HP-07")) || answer.Header.Get("ETag") != "" {
			t.Errorf("%s: status %d, %q", what, answer.StatusCode, body)
		}
	}
}
