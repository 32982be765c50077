package main

import (
	"fmt"
	"math"
	"runtime"
	"sync"
	"sync/atomic"

	"benchbell/core"
)

// rate is how many there were of a kind, and how many of them were so.
type rate struct{ hits, of int }

func (r *rate) count(hit bool) {
	r.of++
	if hit {
		r.hits++
	}
}

func (r rate) share() float64 { return float64(r.hits) / float64(r.of) }

// less orders rates by their shares, and those of one share so that it is always
// the same one that is less.
func (r rate) less(than rate) bool {
	a, b := r.hits*than.of, than.hits*r.of
	return a < b || a == b && r.of < than.of
}

// enough is how many it takes to tell a rate at all.
const enough = 30

// String prints the share, if there were enough to tell one.
func (r rate) String() string {
	if r.of < enough {
		return "–"
	}
	return fmt.Sprintf("%.1f %%", 100*r.share())
}

// mean is an average of pascals. They are summed up in thousandths, so that the
// sum does not depend on their order.
type mean struct {
	thousandths int64
	of          int
}

func (m *mean) count(pascals float64) {
	m.thousandths += int64(math.Round(1000 * pascals))
	m.of++
}

func (m mean) String() string {
	if m.of == 0 {
		return "–"
	}
	return fmt.Sprintf("%.1f", float64(m.thousandths)/1000/float64(m.of))
}

// figures is what is counted of the runs of one kind, by one rule.
type figures struct {
	passed, failed, undecided rate
	falsePass                 rate // of those that are beyond the limit, in steady air
	falseFail                 rate // of those that are within
	holds                     rate // ± U holds the margin as it really was
	interval                  rate // and the 95 % interval
	edge                      rate // passes of those beyond by up to U, in steady air
	realEdge                  rate // passes of those beyond by up to U, in the air as it was
	forecast                  rate // holds the reading at the bell
	expanded, width           mean // U, and half the interval of the forecast

	beyond [len(bands) - 1]rate // passes of suits just beyond, or whole stories that cleared them
	sound  rate                 // the same of those within
	runs   mean                 // of a story
}

func (f *figures) count(p played, rule int) {
	v := p.verdicts[rule]
	f.passed.count(v.Outcome == core.Pass)
	f.failed.count(v.Outcome == core.Fail)
	f.undecided.count(v.Outcome == core.NoVerdict)
	if band, beyond := bandOf(-p.steady / p.task.allowed(p.start)); beyond {
		f.beyond[band].count(v.Outcome == core.Pass)
	}
	if p.steady < 0 {
		f.falsePass.count(v.Outcome == core.Pass)
	} else {
		f.falseFail.count(v.Outcome == core.Fail)
	}
	f.holds.count(math.Abs(p.said-p.real) <= p.expanded)
	f.interval.count(p.interval.holds())
	if p.steady < 0 && p.steady >= -p.expanded {
		f.edge.count(v.Outcome == core.Pass)
	}
	f.expanded.count(p.expanded)
	if p.forecast.told {
		f.forecast.count(p.forecast.holds())
		f.width.count(p.forecast.half())
	}
	if p.real < 0 && p.real >= -p.expanded {
		f.realEdge.count(v.Outcome == core.Pass)
	}
}

func (f *figures) rates() []*rate {
	all := []*rate{
		&f.sound, &f.passed, &f.failed, &f.undecided, &f.falsePass, &f.falseFail, &f.holds, &f.interval, &f.edge, &f.realEdge,
		&f.forecast,
	}
	for i := range f.beyond {
		all = append(all, &f.beyond[i])
	}
	return all
}

func (f *figures) means() []*mean { return []*mean{&f.expanded, &f.width, &f.runs} }

func (f *figures) add(g *figures) {
	rates, means := f.rates(), f.means()
	for i, r := range g.rates() {
		rates[i].hits += r.hits
		rates[i].of += r.of
	}
	for i, m := range g.means() {
		means[i].thousandths += m.thousandths
		means[i].of += m.of
	}
}

// end counts a story. A suit that was mended may be cleared.
func (f *figures) end(t told) {
	f.runs.count(float64(t.runs))
	switch band, beyond := bandOf(t.excess); {
	case beyond:
		f.beyond[band].count(t.cleared && !t.mended)
	default:
		f.sound.count(t.cleared)
	}
}

// kind names runs that are counted together: by what they are told apart, which
// of those they are, and the decision rule.
type kind struct {
	by, which, further string
	rule               core.Acceptance
}

// What runs are told apart by.
const (
	byAll      = "all"
	byGauge    = "method and manometer"
	byShare    = "true drop"
	byGive     = "give of the suit"
	byReading  = "how the end was read"
	byForecast = "manometer"
	byPerson   = "what people do"
)

// kinds returns all the kinds that a run is of.
func (p played) kinds(rule core.Acceptance) []kind {
	if p.circumstances != usual {
		return []kind{{byAll, p.name, "", rule}, {byGauge + p.name, p.task.method.Key, p.gauge.name, rule}}
	}
	return []kind{
		{byAll, "", "", rule},
		{byGauge, p.task.method.Key, p.gauge.name, rule},
		{byShare, p.share(), "", rule},
		{byGive, p.suit.stiffness(p.task.start), p.habits.noting(rule), rule},
		{byReading, p.reading(), "", rule},
		{byForecast, p.gauge.name, "", rule},
	}
}

// shares are the bounds of the true drop, in percent of what is allowed.
var shares = []float64{0, 50, 80, 90, 95, 100, 105, 110, 120, 150, math.Inf(1)}

// shareName names the i-th span of shares.
func shareName(i int) string {
	if math.IsInf(shares[i+1], 1) {
		return fmt.Sprintf("over %.0f %%", shares[i])
	}
	return fmt.Sprintf("%.0f to %.0f %%", shares[i], shares[i+1])
}

func (p played) share() string {
	percent := 100 * (1 - p.steady/p.task.allowed(p.start))
	for i := range len(shares) - 2 {
		if percent < shares[i+1] {
			return shareName(i)
		}
	}
	return shareName(len(shares) - 2)
}

// Kinds of suits by their give, and of testers by whether they note the air.
const (
	stiff  = "stiff, k under 1"
	medium = "k from 1 to 4"
	limp   = "limp, k over 4"

	noted   = "noted"
	unnoted = "not noted"
)

func (s suit) stiffness(gauge float64) string {
	switch k := s.k(gauge); {
	case k < 1:
		return stiff
	case k < 4:
		return medium
	}
	return limp
}

func (h habits) noting(rule core.Acceptance) string {
	if h.notes(rule) {
		return noted
	}
	return unnoted
}

// Kinds of ending pressures.
const (
	readAtBell = "at the bell"
	readLate   = "late, not beyond the limit"
	readSure   = "late, beyond at the bell already"
	readLost   = "late and beyond, perhaps since the bell"
	readBefore = "beyond the limit before the bell"
	readOdd    = "rose or jumped"
)

// endings are the kinds in the order in which they are printed.
var endings = []string{readAtBell, readLate, readSure, readLost, readBefore, readOdd}

func (p played) reading() string {
	v := p.verdicts[0]
	switch {
	case v.Reason == core.Rise || v.Reason == core.Jump:
		return readOdd
	case v.Reason == core.BeyondAtBell:
		return readSure
	case v.Reason == core.LateBeyond:
		return readLost
	case v.End.Taken.Before(v.Bell):
		return readBefore
	case v.End.Taken.After(v.Bell):
		return readLate
	}
	return readAtBell
}

// tally is the figures of all kinds.
type tally map[kind]*figures

func (t tally) of(k kind) *figures {
	f, ok := t[k]
	if !ok {
		f = new(figures)
		t[k] = f
	}
	return f
}

func (t tally) count(p played) {
	for i, rule := range rules {
		for _, k := range p.kinds(rule) {
			t.of(k).count(p, i)
		}
	}
}

func (t tally) add(other tally) {
	for k, f := range other {
		t.of(k).add(f)
	}
}

// simulate plays runs, spread evenly over methods and manometers, on all
// processors: so many tests, a quarter as many in each of the circumstances that
// are not usual, and as many stories as tests. Each has random numbers of its own and everything
// is counted in whole numbers, so that the order in which they are played changes
// nothing.
func simulate(seed uint64, runs int, methods []core.Method) (tally, error) {
	var (
		next  atomic.Int64
		group sync.WaitGroup
		mutex sync.Mutex
		all   = make(tally)
		wrong error
	)
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			mine, err := playAll(seed, runs, methods, &next)
			mutex.Lock()
			defer mutex.Unlock()
			all.add(mine)
			if wrong == nil {
				wrong = err
			}
		})
	}
	group.Wait()
	return all, wrong
}

// playAll plays the next run or story until there is none, or one cannot be played.
func playAll(seed uint64, runs int, methods []core.Method, next *atomic.Int64) (tally, error) {
	mine, all := make(tally), 2*runs+runs/2
	for {
		n := int(next.Add(1)) - 1
		if n >= all {
			return mine, nil
		}
		method := methods[n%len(methods)]
		g := gauges[n/len(methods)%len(gauges)]
		if err := mine.take(seed, n, runs, method, g); err != nil {
			next.Store(int64(all))
			return mine, fmt.Errorf("run %d of seed %d, %s with %s: %w", n, seed, method.Key, g.name, err)
		}
	}
}

// take plays number n: a test, one in other circumstances, or a story.
func (t tally) take(seed uint64, n, runs int, method core.Method, g gauge) error {
	c := usual
	switch {
	case n >= runs+runs/2:
		round := (n - runs - runs/2) / (len(gauges) * len(core.BuiltIn()))
		rule := core.Simple
		if round/len(people)%4 == 3 {
			rule = core.Guarded
		}
		end, err := tell(seed, uint64(n), people[round%len(people)], method, g, rule)
		if err == nil {
			t.of(kind{byPerson, end.who, "", rule}).end(end)
		}
		return err
	case n >= runs+runs/4:
		c = curved
	case n >= runs:
		c = slowly
	}
	p, err := play(seed, uint64(n), method, g, c)
	if err == nil {
		t.count(p)
	}
	return err
}
