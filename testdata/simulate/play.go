package main

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"time"

	"benchbell/core"
)

// rules are the decision rules that every run is judged by.
var rules = [...]core.Acceptance{core.Simple, core.Guarded}

// played is what came of a run, and what was true.
type played struct {
	task   task
	gauge  gauge
	suit   suit
	habits habits
	circumstances
	verdicts []core.Verdict
	// steady is the margin that the suit would have had in steady air, exactly
	// when the bell was due; real the one it had at the moment that the verdict
	// speaks of, in the air as it was; said what the verdict's readings make of
	// it, and within ± how much. All in pascals.
	steady, real, said, expanded float64
	start                        float64 // true pressure at the start
	// forecast is of the reading at the bell, after the last reading before it.
	forecast guess
	// interval is the one that the verdict's readings give the margin.
	interval guess
}

// guess is an interval told, and what it was to hold. All in pascals.
type guess struct {
	told      bool
	low, high float64
	truth     float64
}

func (g guess) half() float64 { return (g.high - g.low) / 2 }

func (g guess) holds() bool { return g.low <= g.truth && g.truth <= g.high }

var tester = core.Person{ID: "u1", Name: "bench.tester"}

// morning is when the suit is at its expansion pressure, for each run.
var morning = time.Date(2026, time.March, 2, 8, 30, 0, 0, time.UTC)

// circumstances are what a run is played under besides what is drawn.
type circumstances struct {
	name   string
	slow   float64 // how many times as long as drawn it takes from a look to its post
	curved bool    // the manometer's error goes in a curve over its range
}

// usual are the circumstances of most tables; the others are those that the
// uncertainty of a verdict does not count on.
var (
	usual  = circumstances{"as drawn", 1, false}
	slowly = circumstances{"typing twice as long", 2, false}
	curved = circumstances{"manometer's error curved", 1, true}
)

// session is a run being played, and the suit on the bench as it truly is.
type session struct {
	circumstances
	rand      *rand.Rand
	garment   core.Suit // as it is registered
	task      task
	manometer manometer
	suit      suit
	in        inside
	room      weather
	heat      thermometer
	now       float64 // the second that in is of
	morning   time.Time
	habits    habits

	rules   []core.Acceptance
	runs    []core.Run // the same run, by each rule
	benches []core.Bench
	posts   int

	startLook float64
	start     inside  // at startLook
	held      float64 // the second from which the hold counts
	shut      bool    // the line to the manometer, once the start is read
	stands    int64   // what the manometer then shows
	forecast  guess
	verdicts  []core.Verdict

	file   *core.File // what the journal says of the suit, by the first rule; nil if nobody asks
	gaveUp int        // how many holds were given up
	leaves bool       // a hold that goes badly
}

// play plays run number n of a seed with a method and a kind of manometer.
func play(seed, n uint64, method core.Method, g gauge, c circumstances) (played, error) {
	s, err := open(rand.New(rand.NewPCG(seed, n)), method, g, c)
	if err != nil {
		return played{}, err
	}
	if err := s.test(); err != nil {
		return played{}, err
	}
	return s.result()
}

// test plays an attempt from the expansion to its verdict.
func (s *session) test() error {
	for _, part := range []func() error{s.expand, s.begin, s.endure} {
		if err := part(); err != nil {
			return err
		}
	}
	return nil
}

// open draws a suit, a manometer, a room and a tester, and opens a run.
func open(r *rand.Rand, method core.Method, g gauge, c circumstances) (*session, error) {
	s, err := cast(r, method, g, c, rules[:])
	if err != nil {
		return nil, err
	}
	s.suit = drawSuit(r, s.task, s.room.at(0), drawShare(r))
	return s, s.opens(1, method.Key)
}

// cast draws all but the suit's leak.
func cast(r *rand.Rand, method core.Method, g gauge, c circumstances, rules []core.Acceptance) (*session, error) {
	s := &session{circumstances: c, rand: r, garment: registered(r, method.Key), rules: rules, morning: morning}
	method, err := method.For(s.garment)
	if err != nil {
		return nil, err
	}
	s.task = newTask(method)
	s.manometer = drawManometer(r, g, s.task.start)
	if c.curved {
		s.manometer.curve(r, method.Expansion.High.Pascals())
	}
	s.heat = drawThermometer(r)
	s.arrives()
	for _, rule := range rules {
		policy := core.DefaultPolicy()
		policy.Acceptance = rule
		s.benches = append(s.benches, core.Bench{
			Methods:    core.BuiltIn(),
			Manometers: map[string]core.Manometer{g.name: g.registered()},
			Policy:     policy,
		})
	}
	s.runs = make([]core.Run, len(rules))
	s.verdicts = make([]core.Verdict, len(rules))
	return s, nil
}

// arrives draws the tester's habits in a run, and the room.
func (s *session) arrives() {
	s.habits = drawHabits(s.rand, s.task.expansion, s.task.hold)
	s.room = drawWeather(s.rand, s.task.expansion+s.habits.patience+s.task.hold+latest+300)
}

// opens opens a run by a method and ticks its list.
func (s *session) opens(id core.RunID, method string) error {
	var standing core.Standing
	if s.file != nil {
		standing = s.standing()
	}
	want := core.Open{Suit: s.garment.Tag, Method: method, Manometer: s.manometer.name}
	for i, b := range s.benches {
		facts, err := b.Open(want, s.garment, standing, tester)
		if err != nil {
			return err
		}
		s.runs[i] = core.Run{ID: id}
		s.apply(i, 0, facts)
	}
	return s.says(0, core.Tick{All: true})
}

// at returns what the chat server's clock says at a second of the run.
func (s *session) at(second float64) time.Time {
	return s.morning.Add(time.Duration(second*1000) * time.Millisecond)
}

func (s *session) apply(rule int, second float64, facts []core.Fact) {
	run := &s.runs[rule]
	for _, f := range facts {
		e := core.Entry{At: s.at(second), By: tester, Suit: s.garment.Tag, Run: run.ID, Fact: f}
		*run = run.Apply(e)
		if s.file != nil && rule == 0 {
			*s.file = s.file.Apply(e)
		}
	}
}

// says posts what the tester wants, by every rule.
func (s *session) says(second float64, want core.Intent) error {
	s.posts++
	for i := range s.rules {
		if err := s.saysBy(i, second, want); err != nil {
			return err
		}
	}
	if read, ok := want.(core.Read); ok && s.runs[0].Asked != nil { // in which unit that was
		read.Unit = s.manometer.unit
		return s.says(second+3, read)
	}
	return nil
}

// saysBy posts it by one of the rules.
func (s *session) saysBy(rule int, second float64, want core.Intent) error {
	asker := core.Asker{At: s.at(second), By: tester, Post: strconv.Itoa(s.posts)}
	facts, err := s.runs[rule].Decide(s.benches[rule], asker, want)
	if err != nil {
		return fmt.Errorf("%+v at %.0f s: %w", want, second, err)
	}
	if v, judged := verdict(facts); judged {
		s.verdicts[rule] = v
	}
	s.apply(rule, second, facts)
	return nil
}

func verdict(facts []core.Fact) (v core.Verdict, ok bool) {
	for _, f := range facts {
		if j, is := f.(core.Judged); is {
			return j.Verdict, true
		}
	}
	return core.Verdict{}, false
}

// waits lets time pass for the suit.
func (s *session) waits(until float64) {
	s.in = s.suit.after(s.in, s.room, s.now, until)
	s.now = until
}

// looks returns what the manometer shows now.
func (s *session) looks() int64 {
	if s.stands > 0 {
		return s.stands
	}
	return s.manometer.shows(s.rand, s.suit.gauge(s.in, s.room.at(s.now).baro))
}

// read posts a reading after the time that typing takes, and returns when.
func (s *session) read(shown int64) (float64, error) {
	posted := s.now + s.slow*typing(s.rand)
	return posted, s.says(posted, core.Read{Digits: s.manometer.digits(shown), Unit: s.manometer.unit})
}

// tries is how often a tester sets a pressure until the manometer shows one
// that is accepted.
const tries = 40

// sets brings the suit to a setting and reads it, after letting it be.
func (s *session) sets(to core.Setting, settle float64) (int64, error) {
	low, high := to.Low.Pascals(), to.High.Pascals()
	wrong := 0.0 // by what the manometer showed
	for range tries {
		aim := (low+high)/2 - wrong + (high-low)/8*s.rand.NormFloat64()
		s.in = s.suit.set(s.in, aim, s.room.at(s.now).baro)
		s.waits(s.now + settle)
		shown := s.looks()
		if p := s.manometer.pascals(shown); low-1e-6 <= p && p <= high+1e-6 {
			return shown, nil
		}
		wrong += (s.manometer.pascals(shown) - (low+high)/2) / 2
		settle /= 2 // it sinks fast: this time read it sooner
	}
	return 0, fmt.Errorf("the suit could not be brought to %s", to.Target)
}

// expand has the suit at its expansion pressure until the time is up and the
// tester is ready.
func (s *session) expand() error {
	target := s.task.method.Expansion
	if s.in == (inside{}) {
		// The suit was blown up over minutes, and has not been in this room for long.
		around := s.room.at(0)
		wall := around.kelvin + 0.3*s.rand.NormFloat64()
		s.in = s.suit.fill(target.Target.Pressure().Pascals(), wall+0.5*s.rand.NormFloat64(), wall, around.baro)
	}
	shown, err := s.sets(target, 2)
	if err != nil {
		return err
	}
	began, err := s.read(shown)
	if err != nil {
		return err
	}
	ends := began + s.task.expansion
	if err := s.minds(began, ends); err != nil {
		return err
	}
	s.waits(ends + s.habits.patience)
	return nil
}

// minds looks at the manometer until the expansion ends, and posts what it
// shows whenever the suit had to be topped up, or let down again, else at every
// second look, as the bot asks.
func (s *session) minds(began, ends float64) error {
	target := s.task.method.Expansion
	sunk := (target.Low.Pascals() + target.Target.Pressure().Pascals()) / 2
	for n, look := 1, began+s.habits.care; look < ends-10; n, look = n+1, look+s.habits.care {
		s.waits(look)
		shown := s.looks()
		if p := s.manometer.pascals(shown); p < sunk || p > target.High.Pascals()+1e-6 {
			var err error
			if shown, err = s.sets(target, 2); err != nil {
				return err
			}
		} else if n%2 == 1 {
			continue
		}
		if _, err := s.read(shown); err != nil {
			return err
		}
	}
	return nil
}

// begin brings the suit to its test pressure and posts the start reading.
func (s *session) begin() error {
	if err := s.noteAir(); err != nil {
		return err
	}
	shown, err := s.sets(s.task.method.Test, settling(s.rand))
	if err != nil {
		return err
	}
	s.startLook, s.start = s.now, s.in
	if s.shut {
		s.stands = shown
	}
	if s.held, err = s.read(shown); err != nil {
		return err
	}
	if s.runs[0].Phase != core.Hold {
		return fmt.Errorf("%d hundredths of %s began no hold", shown, s.manometer.unit)
	}
	return nil
}

// noteAir posts the temperature, and the barometer, if the tester does that.
func (s *session) noteAir() error {
	now := s.room.at(s.now)
	s.posts++
	for i, rule := range s.rules {
		if !s.habits.notes(rule) {
			continue
		}
		if err := s.saysBy(i, s.now, core.Air{Celsius: s.heat.celsius(now.kelvin)}); err != nil {
			return err
		}
	}
	if s.habits.notesSky {
		return s.says(s.now, core.Baro{Digits: hectopascals(now.baro), Unit: core.HPa})
	}
	return nil
}

// endure leaves the suit alone until the verdict.
func (s *session) endure() error {
	for i, look := range s.habits.looks {
		if err := s.glance(s.startLook+look, s.habits.recalls[i]); err != nil || s.judged() {
			return err
		}
	}
	if f, ok := s.runs[0].Forecast(); ok {
		s.forecast = guess{told: true, low: f.End.Low, high: f.End.High}
		if s.leaves && f.Beyond > 0.5 && s.gaveUp < mostGivenUp {
			return s.givesUp()
		}
	}
	bell := s.held + s.task.hold
	s.waits(max(s.now, bell-20-20*s.rand.Float64()))
	if err := s.noteAir(); err != nil {
		return err
	}
	s.waits(max(s.now, bell+looking(s.rand)))
	shown := s.looks()
	s.forecast.truth = s.manometer.pascals(shown)
	switch end := (core.Read{Digits: s.manometer.digits(shown), Unit: s.manometer.unit}); s.habits.ending {
	case overdue:
		return s.readsLate(bell)
	case recalled:
		end.Stated, end.HasStated = s.task.method.Hold, true
		if err := s.says(bell+s.habits.late, end); err != nil || s.judged() {
			return err
		}
		return s.readsLate(bell) // it was too long ago: it is a note
	default:
		return s.says(max(s.now+1, bell+s.slow*answering(s.rand)), end)
	}
}

func (s *session) readsLate(bell float64) error {
	s.waits(bell + s.habits.late)
	_, err := s.read(s.looks())
	return err
}

// glance posts a reading in the hold, with its time to five seconds if that is
// stated.
func (s *session) glance(at float64, stated bool) error {
	s.waits(at)
	shown := s.looks()
	if !stated {
		_, err := s.read(shown)
		return err
	}
	told := core.Read{Digits: s.manometer.digits(shown), Unit: s.manometer.unit, HasStated: true}
	told.Stated = time.Duration(math.Floor((at-s.held)/5)) * 5 * time.Second
	return s.says(at+s.slow*typing(s.rand), told)
}

func (s *session) judged() bool { return s.runs[0].Verdict != nil }

// result works out what was true.
func (s *session) result() (played, error) {
	if !s.judged() {
		return played{}, fmt.Errorf("no verdict came of it, the run is in %s", s.runs[0].Phase)
	}
	p := played{
		task: s.task, gauge: s.manometer.gauge, suit: s.suit, habits: s.habits,
		verdicts: s.verdicts, forecast: s.forecast, circumstances: s.circumstances,
	}
	began := s.room.at(s.startLook)
	p.start = s.suit.gauge(s.start, began.baro)
	still := steady{kelvin: s.suit.kelvin(s.start, p.start, began.baro), baro: began.baro}
	settled := s.start
	settled.wall = still.kelvin
	p.steady = s.task.margin(p.start, s.suit.gauge(s.suit.after(settled, still, 0, s.task.hold), began.baro))

	v := s.verdicts[0]
	lasted := v.End.Taken.Sub(v.Start.Taken).Seconds()
	budget, ok := s.runs[0].Evidence(v).Budget()
	if !ok {
		return played{}, errors.New("the verdict has no budget")
	}
	p.said, p.expanded = budget.Margin, v.Expanded.Pascals()
	p.real = s.task.margin(p.start, s.pressure(lasted))
	p.interval = guess{told: true, truth: p.real}
	p.interval.low, p.interval.high = budget.Interval()
	return p, nil
}

// pressure returns what the pressure truly was some seconds after the look at
// the start.
func (s *session) pressure(since float64) float64 {
	until := s.startLook + since
	return s.suit.gauge(s.suit.after(s.start, s.room, s.startLook, until), s.room.at(until).baro)
}
