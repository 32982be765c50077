package rehearsal

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"time"

	"benchbell/bot/chat"
	"benchbell/core"
)

// A script is a conversation in plain text, one line a step: the demo, the
// training mode, the regression test and the bug report in one. The lines are
//
//	bench.tester: @benchbell test HP-07   a post, in the crew channel if it
//	                                      mentions the bot, else in the thread
//	                                      of the run that person is in
//	bench.tester ~R-0002: 16.5            a post in that run's thread
//	duty.officer dm: HP-07                a direct message
//	attach duty.officer suits.csv         a file, beside the script, that goes
//	                                      with that person's next post, which
//	                                      may then have no words
//	tap bench.tester 3                    a tap on a number of the latest list
//	untap bench.tester 3                  the tap taken back
//	edit bench.tester: 13.9               that person's last post, edited
//	delete bench.tester                   that person's last post, deleted
//	delete ~R-0002                        the first post of that run's thread
//	gone bench.tester                     that person's account is deactivated
//	+6m                                   time passes
//	at 2026-03-02 08:30                   the station's clock moves on to then
//	restart                               the program stops dead, starts again
//	down                                  the program stops dead; what is posted
//	up                                    from then on is read when it is up
//	! words                               the bot's posts since the last line
//	                                      that was no check contain these words
//	!! words                              none does
//	! to duty.officer: words              one of its direct messages to that
//	                                      person does; with "!!" none does
//	# words                               a comment

// step is one line of a script, understood.
type step struct {
	line int
	text string // as written
	do   any    // one of the following
}

type (
	stepPost struct {
		who    string
		run    core.RunID // zero: the run that person is in
		direct bool
		words  string
	}
	stepEdit   struct{ who, words string }
	stepAttach struct{ who, path string }
	stepTap    struct {
		who string
		n   int
		on  bool
	}
	stepDelete struct {
		who string
		run core.RunID // zero: the last post of who
	}
	stepGone    struct{ who string }
	stepPass    struct{ by time.Duration }
	stepAt      struct{ clock string }
	stepRestart struct{}
	stepDown    struct{}
	stepUp      struct{}
	stepCheck   struct {
		words string
		to    string // whom it is told directly, empty: anybody anywhere
		not   bool
	}
)

var (
	sayForm    = regexp.MustCompile(`^([A-Za-z][A-Za-z0-9._-]*)(?: +(~\S+|dm))? *: *(.*)$`)
	tapForm    = regexp.MustCompile(`^(tap|untap) +([A-Za-z][A-Za-z0-9._-]*) +(\d{1,2})$`)
	attachForm = regexp.MustCompile(`^attach +([A-Za-z][A-Za-z0-9._-]*) +(\S+)$`)
	toForm     = regexp.MustCompile(`^to ([a-z][a-z0-9._-]*): *(.+)$`)
	deleteForm = regexp.MustCompile(`^(delete|gone) +([A-Za-z][A-Za-z0-9._-]*|~\S+)$`)
	editForm   = regexp.MustCompile(`^edit +([A-Za-z][A-Za-z0-9._-]*) *: *(.*)$`)
)

// parseScript reads a script. Every line that is none of those above is an
// error with its number.
func parseScript(text string) ([]step, error) {
	var steps []step
	var faults []error
	attached := make(map[string]bool) // to somebody's next post
	for i, line := range strings.Split(strings.TrimPrefix(text, "\ufeff"), "\n") {
		do, err := parseStep(line)
		switch do := do.(type) {
		case stepAttach:
			attached[do.who] = true
		case stepPost:
			if do.words == "" && !attached[do.who] {
				err = errNothingSaid
			}
			delete(attached, do.who)
		}
		if err != nil {
			faults = append(faults, fmt.Errorf("line %d: %q: %w", i+1, strings.TrimSpace(line), err))
		} else if do != nil {
			steps = append(steps, step{line: i + 1, text: strings.TrimSpace(line), do: do})
		}
	}
	return steps, errors.Join(faults...)
}

var errNothingSaid = errors.New("nothing is said: write \"who: words\", or attach a file first")

// parseStep reads one line. It returns nil for a blank line or a comment.
func parseStep(line string) (any, error) {
	line = strings.TrimSpace(line)
	switch {
	case line == "", line[0] == '#':
		return nil, nil
	case line == "restart":
		return stepRestart{}, nil
	case line == "down":
		return stepDown{}, nil
	case line == "up":
		return stepUp{}, nil
	case line[0] == '!':
		words, not := strings.CutPrefix(line, "!!")
		words = plain(strings.TrimPrefix(words, "!"))
		if words == "" {
			return nil, errors.New("a check needs the words to look for: \"! fail\"")
		}
		if m := toForm.FindStringSubmatch(words); m != nil {
			return stepCheck{to: m[1], words: m[2], not: not}, nil
		}
		return stepCheck{words: words, not: not}, nil
	case line[0] == '+':
		by, err := parseSpan(line[1:])
		if err != nil {
			return nil, err
		}
		return stepPass{by}, nil
	case strings.HasPrefix(line, "at "):
		return stepAt{strings.TrimSpace(line[3:])}, nil
	}
	if m := tapForm.FindStringSubmatch(line); m != nil {
		var n int
		fmt.Sscan(m[3], &n)
		return stepTap{who: m[2], n: n, on: m[1] == "tap"}, nil
	}
	if m := attachForm.FindStringSubmatch(line); m != nil {
		return stepAttach{who: m[1], path: m[2]}, nil
	}
	if m := editForm.FindStringSubmatch(line); m != nil {
		return stepEdit{who: m[1], words: m[2]}, nil
	}
	if m := deleteForm.FindStringSubmatch(line); m != nil {
		switch id, isRun := chat.ParseRunID(strings.ToUpper(strings.TrimPrefix(m[2], "~"))); {
		case m[1] == "gone" && m[2][0] != '~':
			return stepGone{m[2]}, nil
		case m[1] == "delete" && m[2][0] != '~':
			return stepDelete{who: m[2]}, nil
		case m[1] == "delete" && isRun:
			return stepDelete{run: id}, nil
		}
	}
	m := sayForm.FindStringSubmatch(line)
	if m == nil {
		return nil, errors.New("not a line of a script: write \"who: words\", \"tap who 3\", \"edit who: words\", \"+6m\", \"at 2026-03-02 08:30\", \"restart\", \"down\", \"up\" or \"! words\"")
	}
	post := stepPost{who: m[1], words: m[3], direct: m[2] == "dm"}
	if strings.HasPrefix(m[2], "~") {
		id, ok := chat.ParseRunID(strings.ToUpper(m[2][1:]))
		if !ok {
			return nil, fmt.Errorf("%q names no run: write it like ~R-0002", m[2])
		}
		post.run = id
	}
	return post, nil
}

// parseSpan reads "6m", "90s", "1h30m", "2d", "3w".
func parseSpan(s string) (time.Duration, error) {
	wrong := fmt.Errorf("%q is not a length of time: write it like +6m, +90s, +1h30m or +2d", s)
	if s == "" {
		return 0, wrong
	}
	var days time.Duration
	for _, unit := range []struct {
		letter string
		length time.Duration
	}{{"w", 7 * 24 * time.Hour}, {"d", 24 * time.Hour}} {
		if n, rest, ok := strings.Cut(s, unit.letter); ok {
			var count int
			if _, err := fmt.Sscanf(n+"\n", "%d\n", &count); err != nil || count < 0 || count > 5000 {
				return 0, wrong
			}
			days += time.Duration(count) * unit.length
			s = rest
		}
	}
	if s == "" {
		return days, nil
	}
	d, err := time.ParseDuration(s)
	if err != nil || d < 0 || days+d < 0 {
		return 0, wrong
	}
	return days + d, nil
}

// parseStationClock reads "2026-03-02 08:30", with seconds or without.
func parseStationClock(s string, zone *time.Location) (time.Time, error) {
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02 15:04:05", "2006-01-02"} {
		if t, err := time.ParseInLocation(layout, s, zone); err == nil {
			return t, nil
		}
	}
	return time.Time{}, fmt.Errorf("%q is not a date and time: write it like \"at 2026-03-02 08:30\"", s)
}

// plain makes words comparable: case, emphasis, invisible marks and line
// breaks do not count.
func plain(s string) string {
	return strings.Join(strings.Fields(unmarked.Replace(strings.ToLower(s))), " ")
}

var unmarked = strings.NewReplacer("*", "", "`", "", "_", "", "\u200b", "")
