package calendar

import (
	"bytes"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"strings"
)

// minSecret is how many characters a secret has at least.
const minSecret = 16

var secretForm = regexp.MustCompile(`^[A-Za-z0-9_-]*$`)

// CheckSecret says why a secret cannot stand in the address of a calendar.
func CheckSecret(secret string) error {
	switch {
	case !secretForm.MatchString(secret):
		return errors.New("the calendar's secret may have letters, digits, - and _ only: it stands in an address")
	case len(secret) < minSecret:
		return fmt.Errorf("the calendar's secret must have %d characters at least, taken at random: who guesses it can read the calendar", minSecret)
	}
	return nil
}

// Handler hands out the calendar that feed makes, at /calendar/SECRET.ics, to
// whoever knows the secret. Everything else is not found, and so is everything
// if [CheckSecret] has something against the secret. Only GET and HEAD are
// allowed. Feed is called once for each request that has the secret, perhaps
// for several at a time; an error of it is answered with status 500 and not
// shown, so log it there.
func Handler(secret string, feed func() (Feed, error)) http.Handler {
	open := CheckSecret(secret) == nil
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !open || !knows(r.URL.Path, secret) {
			http.NotFound(w, r)
			return
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			w.Header().Set("Allow", "GET, HEAD")
			http.Error(w, "the calendar can only be read", http.StatusMethodNotAllowed)
			return
		}
		f, err := feed()
		var body bytes.Buffer
		if err == nil {
			err = Write(&body, f)
		}
		if err != nil {
			http.Error(w, "the calendar cannot be made just now", http.StatusInternalServerError)
			return
		}
		serve(w, r, f, body.Bytes())
	})
}

// knows reports whether a path is the calendar's. How long it takes says
// nothing about the secret.
func knows(path, secret string) bool {
	guess, ok := strings.CutPrefix(path, "/calendar/")
	guess, ok2 := strings.CutSuffix(guess, ".ics")
	a, b := sha256.Sum256([]byte(guess)), sha256.Sum256([]byte(secret))
	return subtle.ConstantTimeCompare(a[:], b[:]) == 1 && ok && ok2
}

func serve(w http.ResponseWriter, r *http.Request, f Feed, body []byte) {
	h := w.Header()
	// The parameter must be the METHOD of the calendar (RFC 5545, 3.7.2).
	h.Set("Content-Type", "text/calendar; charset=utf-8; method=PUBLISH")
	h.Set("Content-Disposition", `inline; filename="benchbell.ics"`)
	h.Set("Cache-Control", "private, no-cache") // asked for again each time, by its ETag
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("ETag", fmt.Sprintf(`"%x"`, sha256.Sum256(body)))
	// Tests brought in from paper happened long before the last entry, so the
	// moment can go back: a calendar is as it was only if the moment is the same.
	if r.Header.Get("If-Modified-Since") != f.Modified.UTC().Format(http.TimeFormat) {
		r = r.Clone(r.Context())
		r.Header.Del("If-Modified-Since")
	}
	http.ServeContent(w, r, "", f.Modified, bytes.NewReader(body))
}
