package commands

import (
	"fmt"
	"slices"
	"strings"

	"benchbell/core"
)

// Help answers what can be said here and now. In a run's thread, the phase
// decides what comes first; a word asks for one form.
func (s Speaker) Help(h Help, in Place, run *core.Run) string {
	word, _, _ := strings.Cut(h.Word, " ")
	for _, f := range forms {
		if word != "" && slices.Contains(f.verbs, word) {
			place := ""
			switch {
			case f.in == inThread && in != Thread:
				place = " In a run's thread."
			case f.in == inTalk && in != Talk:
				place = " In a direct message, or naming me."
			}
			return fmt.Sprintf("%s: %s.%s", shapes(f.shape), f.means, place)
		}
	}
	var out []string
	if run != nil {
		out = append(out, "Now: "+nowSayable(*run))
		if word != "all" {
			return strings.Join(append(out, code("note …")+", "+code("over to @…"), code("help all")+" shows everything."), "\n")
		}
	}
	for _, f := range forms {
		if in == Talk && word != "all" && !slices.Contains(everyday, f.verbs[0]) {
			continue
		}
		if f.in == where(in) || f.in == anywhere && in == Talk {
			out = append(out, fmt.Sprintf("%s %s", shapes(f.shape), f.means))
		}
	}
	switch {
	case in == Talk && word != "all":
		out = append(out, code("help all")+" shows everything.")
	case in == Talk:
		out = append(out, "In a run's thread there is more: "+code("help")+" there.")
	}
	return strings.Join(out, "\n")
}

// everyday are the verbs that help shows unasked: what fits on a phone.
var everyday = []string{"test", "status", "ready", "due", "used", "found", "repaired"}

// nowSayable names what moves the run on from where it stands.
func nowSayable(run core.Run) string {
	switch run.Metering.Awaits() {
	case core.AwaitBefore, core.AwaitAfter:
		return "a reading, or " + code("stop") + " to leave the capacity"
	case core.AwaitLitres:
		return "the air added, " + code("… L") + ", or " + code("stop") + " to leave the capacity"
	}
	switch run.Phase {
	case core.Prepare:
		return code("ok …") + ", " + code("ok all") + ", " + code("bad …") + " or " + code("stop …")
	case core.Restore:
		return code("ok …") + " or " + code("bad …")
	case core.Over:
		return code("test " + run.Suit.Tag)
	}
	return "a reading, " + code("where") + " or " + code("stop …")
}

// shapes prints what can be said, each apart so that it can be copied.
func shapes(shape string) string {
	return code(strings.ReplaceAll(shape, " · ", "` · `"))
}
