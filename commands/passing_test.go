package commands

import (
	"errors"
	"reflect"
	"strings"
	"testing"

	"benchbell/core"
)

// TestSaidInPassing: what people say to each other in a run's thread is asked back
// and does nothing. With a colon it is done.
func TestSaidInPassing(t *testing.T) {
	for text := range strings.SplitSeq(passing, "\n") {
		if text = strings.TrimSpace(text); text == "" {
			continue
		}
		want, err := Parse(text, Thread)
		m, is := errors.AsType[*Misunderstood](err)
		if !is {
			t.Errorf("%q is taken for %#v", text, want)
			continue
		}
		if reply, _ := (Speaker{}).Refuse(err, Thread); len(lies(reply, text)) > 0 {
			t.Errorf("%q: %s\nhas words that nobody said", text, reply)
		}
		if !m.Passing {
			continue
		}
		if m.Meant() {
			t.Errorf("%q by others than the tester is answered", text)
		}
		if strings.HasSuffix(m.Try, "…") {
			continue
		}
		sure, err := Parse(m.Try, Thread)
		if err != nil {
			t.Errorf("%q suggests %q: %v", text, m.Try, err)
			continue
		}
		if again, err := Parse(Print(sure), Thread); err != nil || !reflect.DeepEqual(again, sure) {
			t.Errorf("%q is printed as %q: %#v, %v", m.Try, Print(sure), again, err)
		}
	}
}

const passing = `
	stop laughing, guys
	Stop Laughing
	stop it
	stop that, please
	stop this nonsense
	stop there
	stop right there? no
	stop here for a moment
	stop guys
	Stop, guys!
	stop folks
	stop everybody
	stop you two
	stop please guys
	stop talking about the fire call
	stop being silly
	stop by the office later
	stop at the canteen
	stop at 6:00
	stop for lunch
	stop in five minutes
	stop on the way home
	stop when the bell rings
	stop before you break it
	stop if it hisses
	stop after this one
	stop the music
	stop a second
	stop lol
	stop haha
	stop and listen
	stop or I go home
	stop us if we are too loud
	stop me
	stop your phone
	stop them
	stop R-0002 R-0003
	stop to think
	stop worrying, it's fine
	please stop laughing
	note to self: tea
	Note to everyone, cake at ten
	note that I am on leave tomorrow
	note how calm he is
	note taken
	note of thanks
	note lol
	note on that: no
	remark on that?
	remark that he was late
	again and again the same
	again, guys
	again you two
	again in the evening
	again tomorrow
	again at ten
	again with feeling
	again this one
	again I have to fetch coffee
	again sorry
	again to the shop
	over and out
	over there
	over here
	over you go
	over it
	over lunch
	leak test tomorrow?
	leak test on HP-08 tomorrow
	leak is it
	nothing to see here
	nothing new
	withdraw
	withdraw from the chat
	withdraw that
	retire
	retire to bed
	retire early
	used to it
	used it before
	used to be better
	found my keys
	found it
	repaired my bike
	cause it is late
	reinstate him
	bad joke
	bad luck
	undo that
	undo it
`

// TestMeantForTheRun: a reason, a remark or a leak that somebody types at the bench
// is taken at once.
func TestMeantForTheRun(t *testing.T) {
	for text, want := range map[string]any{
		"stop":                           core.Stop{},
		"stop!":                          core.Stop{},
		"Stop.":                          core.Stop{},
		"stop please":                    core.Stop{},
		"please stop":                    core.Stop{},
		"stop now":                       core.Stop{Why: "now"},
		"stop test":                      core.Stop{Why: "test"},
		"stop the test":                  core.Stop{Why: "the test"},
		"stop this run, no air":          core.Stop{Why: "this run, no air"},
		"stop valve leaking at collar":   core.Stop{Why: "valve leaking at collar"},
		"stop suit torn":                 core.Stop{Why: "suit torn"},
		"stop zipper jammed":             core.Stop{Why: "zipper jammed"},
		"stop zipper opened":             core.Stop{Why: "zipper opened"},
		"stop called away":               core.Stop{Why: "called away"},
		"stop fire call":                 core.Stop{Why: "fire call"},
		"stop compressor failed":         core.Stop{Why: "compressor failed"},
		"stop no air":                    core.Stop{Why: "no air"},
		"stop because the hose split":    core.Stop{Why: "because the hose split"},
		"stop due to rain":               core.Stop{Why: "due to rain"},
		"stop O-ring missing":            core.Stop{Why: "O-ring missing"},
		"stop fitting broke":             core.Stop{Why: "fitting broke"},
		"stop lining torn":               core.Stop{Why: "lining torn"},
		"stop something cracked":         core.Stop{Why: "something cracked"},
		"stop building evacuated":        core.Stop{Why: "building evacuated"},
		"stop lightning":                 core.Stop{Why: "lightning"},
		"stop sealing face dirty":        core.Stop{Why: "sealing face dirty"},
		"stop wrong suit":                core.Stop{Why: "wrong suit"},
		"stop wrong manometer on it":     core.Stop{Why: "wrong manometer on it"},
		"stop manometer drifting":        core.Stop{Why: "manometer drifting"},
		"stop visor cracked, guys":       core.Stop{Why: "visor cracked, guys"},
		"stop my phone dies":             core.Stop{Why: "my phone dies"},
		"stop: laughing, guys":           core.Stop{Why: "laughing, guys"},
		"stop: it":                       core.Stop{Why: "it"},
		"Stop : the plug fell out":       core.Stop{Why: "the plug fell out"},
		"stop: R-0002 needs the bench":   core.Stop{Why: "R-0002 needs the bench"},
		"note visor scratched":           core.Remark{Text: "visor scratched"},
		"note the visor is scratched":    core.Remark{Text: "the visor is scratched"},
		"note the list of the new suits": core.Remark{Text: "the list of the new suits"},
		"note left knee worn":            core.Remark{Text: "left knee worn"},
		"note: to self: tea":             core.Remark{Text: "to self: tea"},
		"note 2 patches on the back":     core.Remark{Text: "2 patches on the back"},
		"note it hisses at the collar":   core.Remark{Text: "it hisses at the collar"},
		"note door opened at 3:00":       core.Remark{Text: "door opened at 3:00"},
		"remark boots stiff":             core.Remark{Text: "boots stiff"},
		"remark: on that seam a patch":   core.Remark{Text: "on that seam a patch"},
		"again":                          core.Repeat{},
		"again please":                   core.Repeat{},
		"again!":                         core.Repeat{},
		"again the hose slipped off":     core.Repeat{Why: "the hose slipped off"},
		"again a plug had slipped":       core.Repeat{Why: "a plug had slipped"},
		"again table was knocked":        core.Repeat{Why: "table was knocked"},
		"again draught from the door":    core.Repeat{Why: "draught from the door"},
		"again called to the phone":      core.Repeat{Why: "called to the phone"},
		"again because it slipped":       core.Repeat{Why: "because it slipped"},
		"again: it leaked at the hose":   core.Repeat{Why: "it leaked at the hose"},
		"leak seam, left knee":           core.Leak{Where: "seam, left knee"},
		"leak in left glove":             core.Leak{Where: "in left glove"},
		"leak at the collar":             core.Leak{Where: "at the collar"},
		"leak: test port":                core.Leak{Where: "test port"},
		"over to me":                     core.HandOver{Me: true},
		"over to @second.tester":         core.HandOver{To: core.Person{Name: "second.tester"}},
		"over to second.tester":          core.HandOver{To: core.Person{Name: "second.tester"}},
		"nothing fitted":                 core.NothingFitted{},
		"withdraw HP-07 recall":          core.Withdraw{Suit: "HP-07", Why: "recall"},
		"used HP-07 to clean the tank":   core.NoteUsed{Suit: "HP-07", Note: "to clean the tank"},
		"retire HP-07 too old":           core.Retire{Suit: "HP-07", Why: "too old"},
	} {
		got, err := Parse(text, Thread)
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("Parse(%q) = %#v, %v, want %#v", text, got, err, want)
		}
		if got, err := Parse(Print(want), Thread); err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("printed, %q is %q: %#v, %v", text, Print(want), got, err)
		}
	}
}
