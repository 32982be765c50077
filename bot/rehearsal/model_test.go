package rehearsal

import (
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// This file is a second, small account of when a suit may be worn. It shares
// nothing with the rooms that decide: it hears the words that people say, and
// when. Where the words leave open whether the program takes them (it may ask,
// or refuse what is only of use), it goes on with both; a suit may be worn if
// it may be in one of them.

// A move is something that somebody does: words, an edit or a tap.
type move struct {
	at    time.Time
	who   string
	run   int    // whose thread it is in; 0: none
	post  int    // the post that is made or edited
	edit  bool   // the post is edited
	tap   int    // 1 a tap, -1 a tap taken back
	item  int    // that is tapped
	words string // without the mention
	opens int    // the run that it opens
	files []string
	half  bool // the program took HP-07 out of use for it
	// unread is true while the program is down: nobody knows yet what it makes of it.
	unread bool
}

type gaugeModel struct {
	unit string
	step float64
	ends string // last day of its calibration
}

var gaugeModels = map[string]gaugeModel{
	"M-1": {"mbar", 0.01, "2037-06-30"}, "M-2": {"mm", 0.1, "2037-09-30"},
	"M-3": {"in", 0.01, "2038-03-31"}, "M-4": {"mbar", 0.1, "2026-01-31"},
}

// nano is how many nanopascals a unit is.
var nano = map[string]int64{"mbar": 100_000_000_000, "mm": 9_806_650_000, "in": 249_088_910_000, "Pa": 1_000_000_000, "hPa": 100_000_000_000}

type methodModel struct {
	unit            string
	full, test      [2]float64 // what the expansion and the start may be
	expansion, hold time.Duration
	within          func(start, end int64) bool
}

var methodModels = map[string]methodModel{
	"en943": {
		"mbar",
		[2]float64{17, 18},
		[2]float64{16, 17},
		10 * time.Minute, 6 * time.Minute,
		func(s, e int64) bool { return s-e <= 3*nano["mbar"] },
	},
	"f1052": {
		"mm",
		[2]float64{120, 130},
		[2]float64{95, 105},
		time.Minute, 4 * time.Minute,
		func(s, e int64) bool { return e >= 80*nano["mm"] && 100*e >= 80*s },
	},
	"osha": {
		"in",
		[2]float64{5, 5.5},
		[2]float64{4, 4.5},
		time.Minute, 3 * time.Minute,
		func(s, e int64) bool { return 5*e >= 4*s },
	},
}

func (m methodModel) holds(tolerance [2]float64, p int64) bool {
	return float64(p) >= tolerance[0]*float64(nano[m.unit]) && float64(p) <= tolerance[1]*float64(nano[m.unit])
}

const (
	asAtBell    = time.Minute
	slipTime    = 2 * time.Minute // in which a slip is put right
	remembered  = 5 * time.Minute // for which a stated moment is believed
	nearEnd     = 2 * time.Minute // what air counts
	prepareList = 10
	unplugList  = 7
)

// tickedAlone are the numbers of the unplug list that "ok all" does not tick;
// fitted are those of the prepare list that put something into a valve.
var tickedAlone, fitted = []int{}, []int{5, 6}

type readModel struct {
	post   int
	posted time.Time
	at     time.Time
	p      int64
	step   int64 // the rounding of it
}

type airModel struct {
	at    time.Time
	baro  bool
	value float64 // °C, hPa
}

type phaseModel int

const (
	preparing phaseModel = iota
	inflating
	expanding
	holding
	judged
	stopped
)

type outcomeModel int

const (
	undecided outcomeModel = iota
	failed
	repeat
	passed
)

// runModel is a run as the words tell it.
type runModel struct {
	suit, method, gauge, tester string
	own                         bool // the method is the suit's own
	phase                       phaseModel
	prepared, unplugged         [prepareList + 1]string // who ticked a number: "" nobody, "words", or a name
	read                        bool                    // with this manometer
	full                        time.Time               // since when it has been expanded
	began                       time.Time               // the same, in the order of what was heard
	last                        readModel               // the last reading posted, taken or not
	touched                     bool                    // something was done since
	hold                        []readModel
	asked                       []string // units that a bare number may have been meant in
	air                         []airModel
	outcome                     outcomeModel
	decided                     time.Time
	byEye                       bool
	seen                        []time.Time // defects
	needsList                   bool
	closed                      time.Time
	now                         time.Time // of the move, in the order of what was heard
}

// fact is something about a suit.
type factModel struct {
	at, began time.Time
	kind      string
	number    int // the defect that was repaired; 0: all
}

// A world is one way to take what was said.
type world struct {
	own   map[string]string // method that the register names for a suit
	heard time.Duration     // grows by a little with every move, to tell what came first
	facts map[string][]factModel
	runs  map[int]runModel
	posts map[int]string // what was said in a post
}

func newWorld(zone *time.Location) world {
	w := world{own: map[string]string{"HP-07": "en943", "HP-08": "en943"}, facts: make(map[string][]factModel), runs: make(map[int]runModel), posts: make(map[int]string)}
	for suit, day := range map[string]string{"HP-07": "2025-10-14", "HP-08": "2025-10-21"} {
		at, _ := time.ParseInLocation("2006-01-02", day, zone)
		w.facts[suit] = []factModel{{at: at, began: at, kind: "pass"}}
	}
	return w
}

func (w world) clone() world {
	c := world{own: maps.Clone(w.own), heard: w.heard, facts: maps.Clone(w.facts), runs: maps.Clone(w.runs), posts: maps.Clone(w.posts)}
	for k, f := range c.facts {
		c.facts[k] = slices.Clip(f)
	}
	for k, r := range c.runs {
		r.hold, r.air, r.seen, r.asked = slices.Clone(r.hold), slices.Clip(r.air), slices.Clip(r.seen), slices.Clip(r.asked)
		c.runs[k] = r
	}
	return c
}

// wearable reports whether a suit may be worn at a moment, and if not, why.
func (w world) wearable(suit string, now time.Time, zone *time.Location) (bool, string) {
	all := slices.Clone(w.facts[suit])
	for _, r := range w.runs {
		if r.suit != suit {
			continue
		}
		if r.closed.IsZero() && (r.needsList || r.hasFitted()) {
			return false, "a plug or an adapter may be in it"
		}
		if r.outcome == failed && !r.byEye {
			all = append(all, factModel{at: r.decided, kind: "fail"})
		}
		for _, at := range r.seen {
			all = append(all, factModel{at: at, kind: "defect"})
		}
		if r.outcome == passed && r.own && !r.closed.IsZero() {
			all = append(all, factModel{at: r.closed, began: r.began, kind: "pass"})
		}
	}
	slices.SortStableFunc(all, func(a, b factModel) int { return a.at.Compare(b.at) })
	type bar struct {
		factModel
		remedied   time.Time
		passedOnce bool
	}
	var bars []bar
	var due string
	retired := false
	for _, f := range all {
		switch f.kind {
		case "pass":
			due = f.at.In(zone).AddDate(1, 0, 0).Format("2006-01-02")
			kept := bars[:0]
			for _, b := range bars {
				switch {
				case b.at.After(f.began), (b.kind == "fail" || b.kind == "defect") && (b.remedied.IsZero() || b.remedied.After(f.began)):
					kept = append(kept, b)
				case b.kind == "withdrawn":
					b.passedOnce = true
					kept = append(kept, b)
				}
			}
			bars = kept
		case "fail", "defect", "used", "withdrawn":
			bars = append(bars, bar{factModel: f})
		case "repaired", "cause":
			defects := 0
			for i := range bars {
				b := &bars[i]
				if b.kind == "defect" {
					defects++
				}
				if b.remedied.IsZero() && (b.kind == "fail" || b.kind == "defect" && f.kind == "repaired" && (f.number == 0 || f.number == defects)) {
					b.remedied = f.at
				}
			}
			if f.kind == "repaired" {
				bars = append(bars, bar{factModel: f})
			}
		case "release":
			bars = slices.DeleteFunc(bars, func(b bar) bool { return b.kind == "withdrawn" && b.passedOnce })
		case "retired":
			retired = true
		case "reinstated":
			retired = false
		}
	}
	switch {
	case retired:
		return false, "retired"
	case len(bars) > 0:
		return false, bars[0].kind + " at " + bars[0].at.In(zone).Format("2006-01-02 15:04:05")
	case now.In(zone).Format("2006-01-02") > due:
		return false, "overdue since " + due
	}
	return true, ""
}

// judge says what the readings of a hold amount to.
func (r runModel) judge(zone *time.Location) outcomeModel {
	m, start, low := methodModels[r.method], r.hold[0], r.hold[0]
	bell := start.at.Add(m.hold)
	for _, e := range r.hold[1:] {
		within := m.within(start.p, e.p)
		switch {
		case e.p > low.p+max(low.step, e.step), 3*e.p < start.p:
			return repeat
		case !within && !e.at.After(bell):
			return failed
		case !within:
			// The pressure at the bell was at most what the chord says.
			chord := float64(start.p) - float64(start.p-e.p)*float64(m.hold)/float64(e.at.Sub(start.at))
			if m.within(start.p, int64(chord)+1000) {
				return repeat
			}
			return failed
		case e.at.Before(bell):
			if e.p < low.p {
				low = e
			}
			continue
		case e.at.After(bell.Add(m.hold)), start.at.In(zone).Format("2006-01-02") > gaugeModels[r.gauge].ends:
			return repeat
		case !m.within(start.p, e.p-r.hidden(start.at, e.at)):
			return repeat
		}
		return passed
	}
	return undecided
}

// hidden is a part of the drop that the air has surely hidden, if the suit was
// stiff. It is a little less than the worst, so as to be sure.
func (r runModel) hidden(start, end time.Time) int64 {
	sum := 0.0
	for _, baro := range []bool{false, true} {
		var first, last []float64
		for _, a := range r.air {
			if a.baro == baro && a.at.Sub(start).Abs() <= nearEnd {
				first = append(first, a.value)
			}
			if a.baro == baro && a.at.Sub(end).Abs() <= nearEnd {
				last = append(last, a.value)
			}
		}
		if len(first) == 0 || len(last) == 0 {
			continue
		}
		if baro {
			sum += max(0, slices.Max(first)-slices.Min(last)) * 0.9
		} else {
			sum += max(0, slices.Max(last)-slices.Min(first)) * 3.51 * 0.9
		}
	}
	return int64(sum * float64(nano["mbar"]))
}

// again judges anew and notes when that became something else.
func (r *runModel) rejudge(zone *time.Location) {
	was := r.outcome
	r.outcome, r.phase = r.judge(zone), holding
	if r.outcome != undecided {
		r.phase, r.needsList = judged, true
	}
	if r.outcome != was {
		r.decided = r.now
	}
}

// take takes a reading.
func (r *runModel) take(e readModel, zone *time.Location) {
	m := methodModels[r.method]
	r.last, r.touched, r.asked = e, false, nil
	switch {
	case r.phase == inflating && m.holds(m.full, e.p):
		r.phase, r.full, r.began, r.read = expanding, e.at, r.now, true
	case r.phase == expanding && !e.at.Before(r.full.Add(m.expansion)) && m.holds(m.test, e.p):
		r.phase, r.hold = holding, []readModel{e}
	case r.phase == holding:
		bell := r.hold[0].at.Add(m.hold)
		if e.at.Equal(e.posted) && e.at.After(bell) && !e.at.After(bell.Add(asAtBell)) {
			e.at = bell
		}
		r.hold = append(r.hold, e)
		r.rejudge(zone)
	}
}

var (
	saidReading = regexp.MustCompile(`^(?:fix )?(\d+(?:[.,]\d+)?) ?(mbar|mm|in|Pa|hPa)?(?: at (\d+):(\d\d))?$`)
	saidTest    = regexp.MustCompile(`^test (HP-0[78])(?: (en943|f1052|osha))?(?: with (M-\d))?$`)
	saidOfSuit  = regexp.MustCompile(`^(used|found|repaired|cause|withdraw|release|retire|reinstate) (HP-0[78])(?: (.*))?$`)
	saidBoth    = regexp.MustCompile(`^(used|found) HP-07(?: &| and|,|, at the farm,) (?:HP-)?08( too)?( torn)?$`)
	saidMethod  = regexp.MustCompile(`^suit change (HP-0[78]) method=(\w+)$`)
	saidNumbers = regexp.MustCompile(`\d+`)
	saidAir     = regexp.MustCompile(`^(air|baro) (\d+(?:[.,]\d+)?)(?: (in|hPa))?$`)
)

// pressure reads a number in a unit.
func pressureModel(digits, unit string) (p, step int64) {
	whole, part, _ := strings.Cut(strings.Replace(digits, ",", ".", 1), ".")
	n, _ := strconv.ParseInt(whole+part, 10, 64)
	step = nano[unit]
	for range part {
		step /= 10
	}
	return n * step, step
}

// hear returns the worlds that a move can lead to.
func (w world) hear(m move, zone *time.Location) []world {
	w = w.clone()
	w.heard += time.Microsecond
	for id, r := range w.runs {
		r.now = m.at.Add(w.heard)
		w.runs[id] = r
	}
	ignored := w.clone()
	before, wasSaid := w.posts[m.post]
	if m.tap == 0 {
		w.posts[m.post], ignored.posts[m.post] = m.words, m.words
	}
	if !m.edit {
		return w.do(m, zone)
	}
	if wasSaid && before == m.words {
		return []world{ignored}
	}
	r, here := w.runs[m.run]
	e := saidReading.FindStringSubmatch(m.words)
	if !here || e == nil {
		return append(w.do(m, zone), ignored) // it is heard now, or has to be said anew
	}
	if r.last.post == m.post {
		m.words = "fix " + m.words
		return w.do(m, zone)
	}
	if slices.ContainsFunc(r.hold, func(h readModel) bool { return h.post == m.post }) {
		return []world{ignored}
	}
	return append(w.do(m, zone), ignored)
}

func (w world) do(m move, zone *time.Location) []world {
	one := []world{w}
	if both := saidBoth.FindStringSubmatch(m.words); both != nil {
		refused := w.clone()
		for _, suit := range []string{"HP-07", "HP-08"} {
			w.aboutSuit(m, both[1], suit, "both")
		}
		switch {
		case m.half:
			return one // what bars the one bars the other
		case m.unread:
			return []world{w, refused}
		}
		return []world{refused}
	}
	if f := saidOfSuit.FindStringSubmatch(m.words); f != nil {
		w.aboutSuit(m, f[1], f[2], f[3])
		return one
	}
	if c := saidMethod.FindStringSubmatch(m.words); c != nil && m.who == "duty.officer" {
		w.own[c[1]] = c[2]
		return one
	}
	if t := saidTest.FindStringSubmatch(m.words); t != nil && m.opens > 0 {
		r := runModel{suit: t[1], method: t[2], gauge: t[3], tester: m.who}
		if r.method == "" {
			r.method = w.own[r.suit]
		}
		r.own = r.method == w.own[r.suit]
		w.runs[m.opens] = r
		return one
	}
	for _, name := range m.files {
		if m.words == "import" && m.who == "duty.officer" {
			w.paper(m, name, zone)
		}
	}
	r, here := w.runs[m.run]
	if !here || m.who != r.tester {
		return one
	}
	verb, rest, _ := strings.Cut(m.words, " ")
	refused := w.clone()
	switch {
	case m.tap != 0:
		r.tick(m.item, m.tap > 0, m.who)
	case m.words == "ok", m.words == "ok all":
		for n := 1; n <= max(prepareList, unplugList); n++ {
			if r.phase == preparing || !slices.Contains(tickedAlone, n) {
				r.tick(n, true, "words")
			}
		}
	case verb == "ok", verb == "undo":
		for _, n := range saidNumbers.FindAllString(rest, -1) {
			i, _ := strconv.Atoi(n)
			r.tick(i, verb == "ok", "words")
		}
	case verb == "bad" && (r.phase == preparing || r.phase >= judged && r.closed.IsZero()):
		r.seen = append(r.seen, r.now)
		if r.phase == preparing {
			r.phase, r.outcome, r.byEye, r.decided = judged, failed, true, r.now
			r.needsList = r.hasFitted()
			if !r.needsList {
				r.closed = r.now
			}
		}
		r.touched = true
	case verb == "with" && !r.read && gaugeModels[rest].unit != "":
		r.gauge = rest
		if !r.last.posted.IsZero() { // a reading out of tolerance was made with the other
			w.runs[m.run] = r
			return []world{w, refused}
		}
	case verb == "air", verb == "baro":
		w.noteAir(&r, m, zone)
	case verb == "again" && (r.phase > preparing && r.phase < judged || r.phase == judged && r.outcome == repeat && r.closed.IsZero()):
		if r.phase == holding {
			r.phase = expanding
		} else {
			r.phase = inflating
		}
		r.hold, r.outcome, r.air, r.last, r.needsList = nil, undecided, nil, readModel{}, false
		r.unplugged = [prepareList + 1]string{}
		w.runs[m.run] = r
		return []world{w, refused} // it may take a reason
	case verb == "stop" && r.phase < judged:
		r.phase, r.needsList, r.touched = stopped, true, true
		if r.prepared == ([prepareList + 1]string{}) {
			w.runs[m.run] = r
			r.closed = r.now // nothing was ticked: it may be taken for an answer
			refused.runs[m.run] = r
			return []world{w, refused}
		}
	case m.words == "nothing fitted" && r.phase == stopped && !r.hasFitted():
		r.closed = r.now
	case verb == "over":
		r.tester = strings.TrimPrefix(rest, "to @")
		w.runs[m.run] = r
		return []world{w, refused}
	case m.words == "yes":
		worlds := []world{refused}
		if m.at.Sub(r.last.posted) <= slipTime {
			for _, unit := range r.asked {
				c, cr := refused.clone(), r
				cr.last.p, cr.last.step = r.last.p/nano[gaugeModels[r.gauge].unit]*nano[unit], nano[unit]
				cr.take(cr.last, zone)
				c.runs[m.run] = cr
				worlds = append(worlds, c)
			}
		}
		return worlds
	default:
		if saidReading.MatchString(m.words) {
			return w.reading(m, r, zone)
		}
	}
	w.runs[m.run] = r
	return one
}

// reading hears a reading, or a correction of the last.
func (w world) reading(m move, r runModel, zone *time.Location) []world {
	said := saidReading.FindStringSubmatch(m.words)
	unit := said[2]
	if unit == "" {
		unit = gaugeModels[r.gauge].unit
	}
	refused := w.clone()
	e := readModel{post: m.post, posted: m.at, at: m.at}
	e.p, e.step = pressureModel(said[1], unit)
	e.step = max(e.step, int64(gaugeModels[r.gauge].step*float64(nano[gaugeModels[r.gauge].unit])))
	if strings.HasPrefix(m.words, "fix ") {
		return w.correction(m, r, e, zone)
	}
	if r.phase == preparing || r.phase >= judged || r.phase == inflating && w.busy(m.run, r.gauge) {
		return []world{refused}
	}
	if said[3] != "" {
		min, _ := strconv.Atoi(said[3])
		sec, _ := strconv.Atoi(said[4])
		if r.phase != holding {
			return []world{refused}
		}
		e.at = r.hold[0].at.Add(time.Duration(min)*time.Minute + time.Duration(sec)*time.Second)
		if e.at.After(m.at) || m.at.Sub(e.at) > remembered || e.at.Before(r.hold[0].at) {
			return []world{refused}
		}
	}
	// A number that is none of a bench may have been meant in another unit.
	if mbar := float64(e.p) / float64(nano["mbar"]); said[2] == "" && (mbar > 30 || mbar < 6) {
		asked := refused.runs[m.run]
		asked.last, asked.touched, asked.asked = e, false, nil
		for unit, n := range nano {
			if p := float64(e.p) / float64(nano[gaugeModels[r.gauge].unit]) * float64(n) / float64(nano["mbar"]); p >= 6 && p <= 30 && unit != "hPa" {
				asked.asked = append(asked.asked, unit)
			}
		}
		slices.Sort(asked.asked)
		refused.runs[m.run] = asked
		r.take(e, zone)
		w.runs[m.run] = r
		return []world{refused, w}
	}
	r.take(e, zone)
	w.runs[m.run] = r
	return []world{w}
}

// correction hears that the last reading was e.
func (w world) correction(m move, r runModel, e readModel, zone *time.Location) []world {
	refused := w.clone()
	if r.last.posted.IsZero() || r.phase == preparing || r.phase == stopped {
		return []world{refused}
	}
	e.post = r.last.post
	if r.phase <= expanding && !r.last.posted.Equal(r.full) || r.phase < holding {
		// Of a clock that does not run, or only just: it is a reading of now.
		meth := methodModels[r.method]
		switch {
		case r.phase == expanding && r.last.posted.Equal(r.full) && meth.holds(meth.full, e.p):
			return []world{refused}
		case r.phase == expanding && r.last.posted.Equal(r.full):
			r.phase, r.full = inflating, time.Time{}
		}
		if r.phase != inflating || !w.busy(m.run, r.gauge) {
			r.take(e, zone)
		}
		w.runs[m.run] = r
		return []world{refused, w}
	}
	was := r
	i := len(r.hold) - 1
	if i < 0 || r.hold[i].post != r.last.post {
		return []world{refused} // the last is none of this hold
	}
	r.hold[i].p, r.hold[i].step = e.p, e.step
	if meth := methodModels[r.method]; i == 0 && !meth.holds(meth.test, e.p) {
		r.phase, r.hold = expanding, nil
	} else {
		r.rejudge(zone)
	}
	w.runs[m.run] = r
	if mbar := float64(e.p) / float64(nano["mbar"]); mbar > 30 || mbar < 6 {
		return []world{refused, w} // it is none of a bench, and can be asked about
	}
	better := r.outcome > was.outcome || r.outcome == undecided
	if !better {
		return []world{w}
	}
	if m.at.Sub(r.last.posted) > slipTime || r.touched {
		return []world{refused}
	}
	return []world{refused, w}
}

// busy reports whether a manometer is in another run.
func (w world) busy(run int, gauge string) bool {
	for id, r := range w.runs {
		if id != run && r.gauge == gauge && (r.phase == expanding || r.phase == holding) {
			return true
		}
	}
	return false
}

func (r *runModel) hasFitted() bool {
	return slices.ContainsFunc(fitted, func(n int) bool { return r.prepared[n] != "" })
}

// tick ticks a number of the list on screen, or takes that back.
func (r *runModel) tick(n int, on bool, by string) {
	list, length := &r.prepared, prepareList
	switch {
	case r.phase != preparing && r.needsList && r.closed.IsZero():
		list, length = &r.unplugged, unplugList
	case r.phase != preparing:
		return
	}
	switch {
	case n < 1 || n > length:
		return
	case on && list[n] == "":
		list[n] = by
	case !on && (by == "words" || list[n] == by):
		list[n] = ""
	}
	r.touched = true
	for i := 1; i <= length; i++ {
		if list[i] == "" {
			return
		}
	}
	if r.phase == preparing {
		r.phase = inflating
	} else {
		r.closed = r.now
	}
}

func (w world) noteAir(r *runModel, m move, zone *time.Location) {
	said := saidAir.FindStringSubmatch(m.words)
	if said == nil {
		return
	}
	v, _ := strconv.ParseFloat(strings.Replace(said[2], ",", ".", 1), 64)
	if said[3] == "in" {
		v *= 33.8639
	}
	if said[1] == "baro" && (v < 500 || v > 1100) || said[1] == "air" && (v < -20 || v > 50) {
		return
	}
	if !r.closed.IsZero() {
		return
	}
	r.air = append(r.air, airModel{m.at, said[1] == "baro", v})
	if r.outcome == passed { // it can take a pass back, and nothing else
		r.rejudge(zone)
	}
}

func (w world) aboutSuit(m move, verb, suit, rest string) {
	kind := map[string]string{"used": "used", "found": "defect", "repaired": "repaired", "cause": "cause", "withdraw": "withdrawn", "release": "release", "retire": "retired", "reinstate": "reinstated"}[verb]
	officer := verb == "release" || verb == "retire" || verb == "reinstate"
	if officer && m.who != "duty.officer" || rest == "" && verb != "used" && verb != "release" {
		return
	}
	f := factModel{at: m.at.Add(w.heard), kind: kind}
	if verb == "repaired" {
		f.number, _ = strconv.Atoi(saidNumbers.FindString(rest))
	}
	w.facts[suit] = append(w.facts[suit], f)
}

// paper takes a test from paper: "2025-12-01_HP-07_f1052_M-2_100mm_85mm_4.csv".
func (w world) paper(m move, name string, zone *time.Location) {
	row := strings.Split(strings.TrimSuffix(name, ".csv"), "_")
	day, _ := time.ParseInLocation("2006-01-02", row[0], zone)
	meth := methodModels[row[2]]
	start, end := saidReading.FindStringSubmatch(row[4]), saidReading.FindStringSubmatch(row[5])
	minutes, _ := strconv.Atoi(row[6])
	r := runModel{method: row[2], gauge: row[3]}
	first := readModel{posted: day, at: day}
	first.p, first.step = pressureModel(start[1], start[2])
	last := readModel{posted: day, at: day.Add(time.Duration(minutes) * time.Minute)}
	last.p, last.step = pressureModel(end[1], end[2])
	r.hold = []readModel{first, last}
	switch out := r.judge(zone); {
	case out == failed && meth.holds(meth.test, first.p): // else it gives no verdict
		w.facts[row[1]] = append(w.facts[row[1]], factModel{at: day, kind: "fail"})
	case out == passed && row[2] == w.own[row[1]] && meth.holds(meth.test, first.p):
		late := day.AddDate(0, 0, 1).Add(-time.Second)
		if late.After(m.at) {
			late = m.at.Add(w.heard)
		}
		w.facts[row[1]] = append(w.facts[row[1]], factModel{at: late, began: late, kind: "pass"})
	}
}
