package commands

import (
	"fmt"
	"strings"
	"time"

	"benchbell/core"
)

// What is said when something went wrong on the way: a post came late, was deleted
// or an answer or a record could not be made.

// leastLate is from when on a post says that it is late.
const leastLate = 5 * time.Second

// bellIsLate begins the line of a bell that rang late.
const bellIsLate = "This bell is"

// Late is a timed post as it is delivered at now: if it is late it says so behind its
// first line, which has the suit and what to do. An older remark about lateness is
// replaced.
func (s Speaker) Late(text string, due, now time.Time) string {
	by := now.Sub(due)
	if by < leastLate {
		return text
	}
	late := fmt.Sprintf("Late by %s, was due at %s.", span(by), s.clock(due))
	head, rest, _ := strings.Cut(text, "\n")
	var kept []string
	for line := range strings.Lines(rest) {
		if line = strings.TrimSuffix(line, "\n"); !strings.HasPrefix(line, "Late by ") && !strings.HasPrefix(line, bellIsLate) {
			kept = append(kept, line)
		}
	}
	return lines(head, late, strings.Join(kept, "\n"))
}

// Deleted says what stays on record of a post that was deleted, by the facts that it
// brought, and how that is corrected. It is empty if the post brought none.
func Deleted(run core.Run, facts []core.Fact) string {
	kept := onRecord(facts)
	if kept == "" {
		return ""
	}
	return lines(bold("This was deleted, but stays on record:")+" "+kept+".", corrections(run, facts, code("fix …")+" corrects it"))
}

// EditedAway is Deleted for a post whose edit is not a correction.
func EditedAway(run core.Run, facts []core.Fact) string {
	kept := onRecord(facts)
	if kept == "" {
		return ""
	}
	return lines(bold("This was edited, but stays on record:")+" "+kept+".", corrections(run, facts, "edit it to a number, or say "+code("fix …")))
}

// onRecord lists the facts of a post, without those that follow from them, such as a
// verdict.
func onRecord(facts []core.Fact) string {
	var kept []string
	for _, fact := range facts {
		switch f := fact.(type) {
		case core.Taken:
			kept = append(kept, fmt.Sprintf("reading %d, %s", f.Reading.N, f.Reading.Written))
		case core.MeteringRead:
			kept = append(kept, "the reading "+f.Reading.Written.String())
		case core.Corrected:
			kept = append(kept, fmt.Sprintf("the correction of reading %d to %s", f.N, f.Written))
		case core.Ticked:
			kept = append(kept, "ticked: "+numbers(f.Items))
		case core.Unticked:
			kept = append(kept, "ticks taken back: "+numbers(f.Items))
		case core.DefectSeen:
			kept = append(kept, "the defect "+quote(f.What))
		case core.Found:
			kept = append(kept, "the defect "+quote(f.What))
		case core.LeakFound:
			kept = append(kept, "the leak "+quote(f.Where))
		case core.Noted:
			kept = append(kept, "the note "+quote(f.Text))
		case core.AirNoted:
			kept = append(kept, "air "+f.Celsius+" °C")
		case core.BaroNoted:
			kept = append(kept, "barometer "+barometer(f.Written))
		case core.AirAdded:
			kept = append(kept, f.Litres+" L of air added")
		case core.Again:
			kept = append(kept, "the attempt given up")
		case core.Stopped:
			kept = append(kept, "the stop")
		case core.HandedOver:
			kept = append(kept, "handed over to "+f.To.Name)
		case core.ManometerChosen:
			kept = append(kept, "manometer "+f.Manometer.ID)
		case core.Opened:
			kept = append(kept, "the run")
		case core.Used:
			kept = append(kept, "the use")
		case core.Repaired:
			kept = append(kept, "the repair "+quote(f.What))
		case core.CauseStated:
			kept = append(kept, "the cause "+quote(f.What))
		case core.Withdrawn:
			kept = append(kept, "the withdrawal")
		case core.Retired:
			kept = append(kept, "the retirement")
		case core.Reinstated:
			kept = append(kept, "the reinstatement")
		case core.Released:
			kept = append(kept, "the release")
		case core.NoneFitted:
			kept = append(kept, "nothing fitted")
		}
	}
	return strings.Join(kept, "; ")
}

// corrections says how what a post brought can still be corrected. way is how to
// correct the last reading.
func corrections(run core.Run, facts []core.Fact, way string) string {
	number := 0
	for _, fact := range facts {
		switch f := fact.(type) {
		case core.Taken:
			number = f.Reading.N
		case core.Ticked:
			if run.List() != nil {
				return code("undo …") + " takes a tick back."
			}
		}
	}
	last, _ := run.Last()
	switch {
	case number == 0:
		return ""
	case run.Verdict != nil || run.Phase == core.Over:
		return lines("Within 2 min and before anything else: "+way+".", "After that it counts only if it is worse for the suit.")
	case number == last.N:
		return "Within 2 min and before anything else: " + way + "."
	}
	return lines("It still counts. Only the last reading can be corrected.", code("note …")+" puts a remark on record.")
}

// EditNotHeard answers an edit of words that were carried out before.
func EditNotHeard() string {
	return "Only a reading can be corrected by an edit. Post this again as a new message."
}

// ThreadAnew begins a run's new thread, after the first post of the old was deleted.
func ThreadAnew(run core.Run) string {
	return lines(of(run)+bold(run.ID.String()+" goes on here."),
		"The first post of its thread was deleted. Nothing else changed.", at(run.Tester))
}

// CouldNot answers somebody whose message could not be handled because of a fault; what
// describes it, in a few words for people.
func CouldNot(what string) string {
	return lines(bold("Nothing was changed:")+" I could not do that.", upperFirst(shown(what))+". Tell the keeper.")
}

// BellFailed tells a tester that a bell could not be worked out, and when it is tried
// again.
func (s Speaker) BellFailed(run core.Run, again time.Time) string {
	return lines(of(run)+bold("My bell failed: go by your watch."),
		"I try again at "+s.clock(again)+". Tell the keeper.", at(run.Tester))
}

// NotRecording tells the crew that nothing can be written.
func NotRecording() string {
	return "**Readings are NOT being recorded.** I cannot write to my disk. Go on with watch and paper, and call the keeper."
}

// DocumentFailed stands in place of a document or a picture that could not be made.
func DocumentFailed(name string) string {
	return fmt.Sprintf("%s could not be made. What is on record is not affected. Tell the keeper.", named(name))
}
