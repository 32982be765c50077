package engine

import (
	"time"

	"benchbell/bot/chat"
	"benchbell/commands"
	"benchbell/core"
)

// tapped handles a tap on a number under a list.
func (t *turn) tapped(w chat.Tapped) error {
	key, err := t.takeRunOf(w.Post)
	if err != nil || !t.hasRun {
		return err
	}
	t.in, t.heard = commands.Thread, true
	if key != chat.ListKey(t.run) || t.run.List() == nil {
		if w.On {
			return &core.Refusal{Why: core.NoList, Run: t.run.ID}
		}
		return nil
	}
	if w.On {
		return t.onRun(core.Tick{Items: []int{w.N}, ByTap: true})
	}
	if !t.tickedBy(t.ev.Who, w.N) {
		return nil
	}
	return t.onRun(core.Untick{Items: []int{w.N}})
}

// tickedBy reports whether number n of the list stands ticked by this person's
// tap: taking back a tap undoes no tick made by words.
func (t *turn) tickedBy(who core.Person, n int) bool {
	list := t.run.List()
	return n >= 1 && n <= len(list) && list[n-1].ByTap && list[n-1].By.Is(who)
}

// tapsNow makes up for taps missed.
func (t *turn) tapsNow(w chat.TapsNow) error {
	key, err := t.takeRunOf(w.Post)
	if err != nil || !t.hasRun || key != chat.ListKey(t.run) {
		return err
	}
	t.in, t.heard = commands.Thread, true
	shown, undone, err := t.listOnScreen()
	if err != nil {
		return err
	}
	standing := make(map[int]bool)
	var missed []int
	for _, tap := range w.Taps {
		if !tap.Who.Is(t.run.Tester) {
			continue
		}
		standing[tap.N] = true
		if list := t.run.List(); tap.N >= 1 && tap.N <= len(list) && !list[tap.N-1].Done && tap.At.After(undone[tap.N]) {
			missed = append(missed, tap.N)
		}
	}
	t.ev.Who = t.run.Tester
	var gone []int
	for i, c := range t.run.List() {
		if c.Done && c.ByTap && !standing[i+1] && !c.At.Before(shown) {
			gone = append(gone, i+1)
		}
	}
	if len(gone) > 0 {
		if err := t.onRun(core.Untick{Items: gone}); err != nil {
			return err
		}
		t.run = t.after
	}
	if len(missed) > 0 {
		return t.onRun(core.Tick{Items: missed, ByTap: true})
	}
	return nil
}

// listOnScreen returns when the run's list was put on screen, and when each of its
// numbers was last taken back: older taps are ignored, and ticks older than the list
// were not made by taps under it.
func (t *turn) listOnScreen() (shown time.Time, undone map[int]time.Time, err error) {
	defer func() {
		if again := t.relisted[t.run.ID]; again.After(shown) {
			shown = again.Add(1) // a tick of that very moment was under the old list
		}
	}()
	entries, err := t.store.OfRun(t.run.ID)
	undone = make(map[int]time.Time)
	var run core.Run
	for _, e := range entries {
		lists := run.Lists
		if run = run.Apply(e); run.Lists != lists {
			shown = e.At
			clear(undone)
		}
		if un, ok := e.Fact.(core.Unticked); ok {
			for _, n := range un.Items {
				undone[n] = e.At
			}
		}
	}
	return shown, undone, err
}
