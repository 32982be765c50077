package store

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"

	"benchbell/core"
)

// The journal in JSON Lines: the name and the version of the format, and what
// stands around an entry's record in its line.
const (
	linesFormat  = "benchbell journal"
	linesVersion = 1

	beforeHash   = `{"hash":"`
	beforeRecord = `","entry":`
	afterRecord  = `}`
)

// maxLine is how many bytes a line may have. The longest entry opens a run, and
// has some thousands.
const maxLine = 16 << 20

// headerRecord is the first line.
type headerRecord struct {
	Format  string `json:"format"`
	Version int    `json:"version"`
	Entries uint64 `json:"entries"`
	Head    string `json:"head"`
}

// WriteJSONL writes the journal as it is now in JSON Lines, for other programs
// and for [Store.ReadJSONL]. It verifies what it writes as [Store.Verify] does:
// after an *EntryError the lines that w got up to there are sound, and the
// others are missing.
//
// # Lines
//
// The text is UTF-8. Every line is one JSON object and ends with a line feed.
// The first line says what follows:
//
//	{"format":"benchbell journal","version":1,"entries":2,"head":"9ae1…"}
//
//	format   "benchbell journal"
//	version  of this format: 1
//	entries  how many entries there are, a line for each
//	head     hash of the last of them; 64 zeros if there is none
//
// All other lines are entries, in the order of the journal:
//
//	{"hash":"b995…","entry":{"v":1,"seq":1,"at":"2026-03-02T08:31:00Z",…}}
//
//	hash     SHA-256 as 64 hexadecimal digits, small letters
//	entry    the entry's record, to the byte as it stands in the journal
//
// The hash is that of 32 bytes, which are the hash in the line before or zeros
// for the first entry, and of the bytes of the record: those from the 84th of
// the line to the last but one. Whoever works the hashes out anew can tell
// that no line was changed, removed, added or moved; that the end was not cut
// off, and not all of it written anew, by a head noted elsewhere.
//
// A program that does not know the version cannot read the file. Within a
// version fields may be added to records, and kinds of fact; what is written
// here stays.
//
// # Entries
//
// A field without a value is left out: it then is 0, false, empty or nothing.
// Moments are RFC 3339 in UTC. Dates and periods are as ISO 8601 writes them:
// 2026-03-02, P1Y, P18M. Durations are whole nanoseconds (…_ns) and pressures
// whole nanopascals (…_npa). A word before a colon is the name of a part, which
// is listed below, or of a set of codes.
//
//	entry                something that happened
//	  v                  version of the record: 1
//	  seq                number of the entry, from 1
//	  at                 moment at which it happened, by the chat server's clock
//	  by                 person: who did it; none if nobody did
//	  event              id of the post or event that brought it
//	  suit               tag of the suit it is about
//	  run                number of the run it belongs to
//	  kind               name of the fact
//	  fact               the fact, by its kind
//
// # Facts
//
// These are about the register, and about a suit outside a run:
//
//	suit_registered      suit: enters a suit, or what the register now says of it
//	manometer_registered manometer: the same of a manometer
//	used                 somebody wore the suit
//	  when               moment of it
//	  note               what was said about it
//	repaired             it was worked on
//	  what               what was done
//	  of                 numbers of the open defects it was about; none: all
//	cause_stated         what outside the suit made it fail
//	  what               what it was
//	found                a defect was seen
//	  what               what it is
//	withdrawn            it is out of service for now
//	  why                the reason
//	retired              it is out of service for good
//	  why                the reason
//	reinstated           an officer's word that it is in use again
//	  why                the reason
//	capacity_measured    capacity: how much air it takes; in a run, or outside
//	released             an officer's word that it may be worn
//	paper_test           a test of before the journal, brought in from paper
//	  day                date of it
//	  method             key of the method
//	  manometer          id of the manometer
//	  start              written: start of the hold
//	  end                written: ending pressure
//	  hold_ns            length of the hold
//	  tester             who made it
//	  outcome            outcome: what it came to
//	  reason             reason: why
//	  remedy             what was done after it
//	  rules              version of the rules it was judged by, 0 for the first
//
// These are about a run:
//
//	opened               the run begins, with all that it is judged by
//	  suit               suit: as the register had it
//	  method             method: as it was
//	  manometer          manometer: the one to be used
//	  prepare            items: the list before the test
//	  restore            items: the list after it
//	ticked               items of the list on screen were ticked
//	  items              their numbers, from 1
//	  by_tap             by taps, not by words
//	unticked             ticks were taken back
//	  items              numbers of the items
//	defect_seen          a defect was seen at an item of the list on screen
//	  item               number of the item
//	  what               what it is
//	taken                reading: it was taken
//	questioned           a reading was not taken but asked about
//	  reading            reading: as it was written
//	  perhaps            unit: in which the number would make sense
//	corrected            the value of a reading is another
//	  n                  number of the reading
//	  written            written: what it is
//	expansion_started    the expansion counts from a reading on
//	  n                  number of the reading
//	expansion_void       the pressure was not held: it counts no more
//	hold_started         the hold counts from a reading on
//	  n                  number of the reading
//	hold_void            that reading turned out to be outside tolerance
//	hold_resumed         a verdict is taken back, since the hold is undecided
//	rung                 a bell rang
//	  bell               bell: which
//	  due                moment at which it should have rung
//	  quiet              too late to be of use, so nothing was said
//	judged               verdict: it was given; it replaces an earlier one
//	stopped              the run ends without a verdict
//	  why                the reason
//	again                the attempt is given up, and another begins
//	  why                the reason
//	none_fitted          nothing was fitted to the suit, by the tester's word
//	handed_over          another person is its tester from now on
//	  id                 id of that person on the chat server
//	  name               their user name at the time
//	  why                takeover: by what right; none: its tester handed it over
//	manometer_chosen     manometer: the one to be used from now on
//	air_noted            temperature of the air at the suit
//	  celsius            degrees Celsius, as it was written
//	baro_noted           written: the barometer
//	metering_begun       the capacity of the suit is measured, from the start
//	metering_read        reading: of that; n is 1 before air is added, 2 after
//	air_added            air was added; it replaces what was said before
//	  litres             how much, as written
//	metering_corrected   the value of a reading of that is another
//	  n                  number of the reading
//	  written            written: what it is
//	metering_left        that ends without a result
//	  too_high           written: pressure the suit was filled to, too high
//	leak_found           a leak was found
//	  where              where it is
//	noted                a remark was made
//	  text               what it says
//	  recalled           it is a reading that was stated too late to be taken
//	photo_posted         a file was posted that may be an image
//	  file               the chat server's id of the file
//	  name               its name
//	  size               its bytes, as far as the chat server says
//	  caption            what was said with it, if that was nothing to be done
//	  with               link: what it came with
//	photo_kept           it is an image, and the journal knows it by its content
//	  file               the chat server's id of the file
//	  type               type of it, as image/jpeg
//	  sum                SHA-256 of the file's bytes, 64 hexadecimal digits
//	photo_lost           it will never be known by its content
//	  file               the chat server's id of the file
//	  why                loss: the reason
//	closed               the run is over: nothing is left in the suit
//
// # Parts
//
//	person               somebody on the chat server
//	  id                 the server's id, which never changes
//	  name               user name at the time
//	written              a pressure as somebody wrote it
//	  digits             the digits, with a decimal point
//	  unit               unit: of it
//	suit                 what the register says of a suit
//	  tag                tag, the name of the suit
//	  serial             maker's serial number
//	  maker              its brand name
//	  model              maker's type
//	  material           what it is made of
//	  size               size
//	  place              where it is kept
//	  made               date of manufacture
//	  purchased          date of purchase
//	  in_service         date on which it was put in service
//	  end_of_life        last day of its life
//	  fittings           fittings: what it has
//	  method             key of the method it is tested by
//	  interval           period from one test to the next
//	  maker_a            written: the maker's pre-test expansion pressure
//	  maker_b            written: the maker's test pressure
//	  remarks            remarks
//	  volume             volume: free volume of it, inflated
//	  capacity           capacity: as last measured
//	fittings             what a suit has that a test must close
//	  glove_rings        it has glove rings
//	  exhaust_valves     how many exhaust valves
//	  ventilating_valve  it has a ventilating valve
//	  pass_through       it has a pass-through
//	  boots              boots: how the feet are closed
//	volume               a free volume
//	  litres             litres, as written
//	  off                how far off they may be either way, as written
//	capacity             how much air a suit takes
//	  day                date of the measurement
//	  litres             air added, at the pressure of the room, as written
//	  from               written: pressure before
//	  to                 written: pressure after
//	  step               written: smallest step of the manometer
//	  manometer          id of the manometer
//	  by                 person: who measured it
//	  room               written: the barometer
//	  fell_npa           what the suit lost by itself meanwhile
//	  fell_u_npa         standard uncertainty of that
//	manometer            what the register says of a manometer
//	  id                 its name
//	  maker              its brand name, and its type
//	  serial             maker's serial number
//	  unit               unit: in which it reads
//	  resolution         written: smallest step it shows
//	  permissible        written: largest permissible error
//	  calibrated_on      date of the calibration
//	  interval           period from one calibration to the next
//	  calibrated_until   last day of the calibration
//	method               a test method
//	  key                its name
//	  title              title
//	  source             where it is published
//	  unit               unit: of its limits
//	  expansion          setting: pre-test expansion pressure
//	  expansion_ns       how long it is held
//	  test               setting: test pressure
//	  hold_ns            length of the hold
//	  limit              limit: what passes
//	  maker_sets         the pressures are those of the suit's maker
//	  maker_margin       written: tolerance of the maker's pressures
//	  provenance         provenances: where its numbers are from
//	setting              a pressure to be set
//	  target             written: the pressure
//	  low_npa            lowest that is accepted
//	  high_npa           highest that is accepted
//	limit                what passes: one of a drop, a floor and a ratio
//	  drop               written: greatest drop
//	  floor              written: least ending pressure
//	  nominal            written: start that it is meant for; above it the
//	                     ending pressure has to keep the same share
//	  num                the ending pressure is at least num/den of the start
//	  den                the same
//	provenance           where a number is from
//	  what               which number
//	  source             the source
//	  certainty          certainty: of it
//	item                 a line of a checklist
//	  task               task: what to do
//	  count              number of pieces, 0 if it is not about pieces
//	  closes             the suit must be restored once this was done
//	reading              a pressure that somebody read off the manometer
//	  n                  number within the run, from 1
//	  written            written: the pressure
//	  posted             moment of the post
//	  taken              moment at which it counts as true
//	  stated             the tester said when
//	  by                 person: who read it
//	  post               id of the post
//	  manometer          id of the manometer
//	  was                writtens: what it was before corrections, oldest first
//	link                 what a photo came with
//	  to                 linked: what it is
//	  n                  number of the reading, the leak, the item; of a note
//	                     among the remarks and defects of the run
//	  phase              phase: in which the run was
//	verdict              the verdict of a run
//	  outcome            outcome: what the test comes to
//	  reason             reason: why
//	  method             key of the method
//	  start              reading: start of the hold
//	  end                reading: ending pressure
//	  drop_npa           drop
//	  allowed_npa        greatest drop that passes from this start
//	  bell               moment at which the hold ended
//	  at_bell_low_npa    what the pressure then was at least, with 95 %
//	  at_bell_high_npa   and at most, where other readings had to tell
//	  defect             what was seen
//	  rule               rule: by which it was decided
//	  expanded_npa       expanded uncertainty (k = 2) of the margin to the limit
//	  guard_npa          guard band that the rule asked for
//	  conforms           probability that the true margin is within it, 0 to 1
//	  air_raised_npa     how much warmer air, or less pressure of it, can have
//	                     raised the ending pressure
//	  air_lowered_npa    how much the contrary can have lowered it
//	  rules              version of the rules it was given by, 0 for the first
//
// # Codes
//
//	unit       mbar hPa Pa kPa mmH2O cmH2O inH2O mmHg psi inHg
//	boots      fixed socks
//	certainty  source report memory practice own keeper
//	task       decontaminated looked_over gloves_whole glove_rings inlets_shut
//	           inflation_fitted plugs_in zipper_shut laid_out air_limited
//	           manometer_ready plugs_out adapter_out diaphragms covers
//	           ventilating_back pass_through_back dried stored
//	bell       look expansion warn hold chase card
//	outcome    pass fail no_verdict
//	reason     on_time expansion_voided late_within early_beyond bracketed
//	           defect_by_eye late_beyond rise jump start_outside
//	           manometer_stale cut_short air_hides guard_band
//	           beyond_at_bell too_late
//	rule       simple guarded
//	phase      prepare expansion hold restore closed
//	linked     phase reading leak defect note list air
//	loss       gone too_large no_photo
//	takeover   officer deactivated silent
func (s *Store) WriteJSONL(w io.Writer) error {
	out := bufio.NewWriter(w)
	err := s.writeLines(out)
	if flush := out.Flush(); err == nil {
		err = flush
	}
	return err
}

func (s *Store) writeLines(w io.Writer) error {
	n, h, err := s.Head()
	if err != nil {
		return err
	}
	line, err := marshal(headerRecord{Format: linesFormat, Version: linesVersion, Entries: n, Head: h.String()})
	if err != nil {
		return err
	}
	if _, err := w.Write(append(line, '\n')); err != nil {
		return err
	}
	var c chain
	for l, err := range pages(s.engine, bucketJournal, nil, number(n+1), readLink) {
		if err == nil {
			_, err = c.add(l)
		}
		if err == nil {
			_, err = w.Write(l.line())
		}
		if err != nil {
			return err
		}
	}
	c.noted = head{n, h} // the journal may have grown meanwhile
	return c.end()
}

// WriteLinesOfSuit writes the entries about one suit as the lines that
// [Store.WriteJSONL] writes of them, without a first line: whoever doubts one
// looks for it in the whole journal. The tag must be exact.
func (s *Store) WriteLinesOfSuit(w io.Writer, tag string) error {
	from, to := within(tag)
	for l, err := range pages(s.engine, bucketBySuit, from, to, func(tx Tx, key, _ []byte) (link, error) {
		return getLink(tx, key[len(from):])
	}) {
		if err == nil {
			_, err = l.entry()
		}
		if err == nil {
			_, err = w.Write(l.line())
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// getLink reads an entry that must be there, by its key in the journal.
func getLink(tx Tx, key []byte) (link, error) {
	value := tx.Get(bucketJournal, key)
	if value == nil {
		seq, _ := toNumber(key)
		return link{}, &EntryError{seq, errMissing}
	}
	return readLink(tx, key, value)
}

// line returns the entry's line.
func (l link) line() []byte {
	line := make([]byte, 0, len(beforeHash)+2*len(l.hash)+len(beforeRecord)+len(l.record)+len(afterRecord)+1)
	line = append(line, beforeHash...)
	line = hex.AppendEncode(line, l.hash[:])
	line = append(line, beforeRecord...)
	line = append(line, l.record...)
	return append(line, afterRecord+"\n"...)
}

// A LineError is something wrong with one line of a journal in JSON Lines. If
// it is about an entry, Err is an *EntryError.
type LineError struct {
	Line uint64 // from 1, which is the header
	Err  error
}

func (e *LineError) Error() string { return fmt.Sprintf("line %d: %v", e.Line, e.Err) }

func (e *LineError) Unwrap() error { return e.Err }

// ReadJSONL reads what [Store.WriteJSONL] wrote into a store in which nothing
// has happened yet, and returns the number of entries and the hash of the last:
// the store's own journal then is the same to the byte. It is done in one
// transaction, for which all of the journal is held in memory; after an error
// the store is as empty as before.
//
// The error is a *LineError about the first line that was changed, is missing,
// or should not be there. Lines that were cut off at the end, with a first line
// to match, make a journal that holds: compare the hash with one noted
// elsewhere, by [Store.VerifyAgainst].
//
// The journal is not all that a store has. What follows from the entries, as
// open runs and manometers, is made anew, and an event that brought an entry
// counts as handled. The suits' rows depend on the policy too and are left to
// the caller, who is told by [Store.RowsMadeWith] that there are none: make one
// for each of [Store.Tags] from [Store.OfSuit]. The outbox, the notices given,
// the wake times and the marks are not there: what to go back to after a
// mishap is a [Store.Backup].
func (s *Store) ReadJSONL(r io.Reader) (n uint64, h Hash, err error) {
	var last head
	err = s.update(func(tx Tx) (err error) {
		if err := refuseUsed(tx); err != nil {
			return err
		}
		last, err = readLines(tx, r)
		return err
	})
	if err != nil {
		return 0, Hash{}, fmt.Errorf("read the journal into the store: %w", err)
	}
	return last.seq, last.hash, nil
}

// beyondMeta are the buckets that are empty until something happens.
var beyondMeta = []string{
	bucketJournal,
	bucketBySuit, bucketByRun, bucketOpenRuns, bucketNumbers, bucketManometers, bucketLastUsed, bucketTags,
	bucketRows, bucketBarred, bucketDue, bucketEnding, bucketCounts,
	bucketSeen, bucketNotices, bucketWakes, bucketMarks, bucketAccounts,
	bucketOut, bucketParked, bucketUntried, bucketPostIDs, bucketPostKeys,
}

func refuseUsed(tx Tx) error {
	const why = "the store is not empty, there is something in %q: read the journal into a new file"
	for _, bucket := range beyondMeta {
		for range tx.Range(bucket, nil, nil) {
			return fmt.Errorf(why, bucket)
		}
	}
	for key := range tx.Range(bucketMeta, nil, nil) {
		if !bytes.Equal(key, keySchema) {
			return fmt.Errorf(why, key)
		}
	}
	return nil
}

// readLines reads all lines into the journal and returns its head.
func readLines(tx Tx, r io.Reader) (head, error) {
	sorting := &sortingTx{Tx: tx, held: map[string]map[string][]byte{bucketBySuit: {}, bucketSeen: {}}}
	last, err := readLinesInto(sorting, r)
	if err != nil {
		return head{}, err
	}
	return last, errors.Join(sorting.put(), writeHead(tx, last))
}

func readLinesInto(tx Tx, r io.Reader) (head, error) {
	in := bufio.NewScanner(r)
	in.Buffer(nil, maxLine)
	header, err := readHeader(in)
	if err != nil {
		return head{}, &LineError{1, err}
	}
	var last head
	for in.Scan() && in.Err() == nil { // at an error the rest of the line comes too
		var l link
		err := errBehind
		if last.seq < header.seq {
			l, err = readLine(in.Bytes(), last)
		}
		if err == nil {
			err = l.enter(tx)
		}
		if err != nil {
			return head{}, lineError(last.seq+1, err)
		}
		last = head{l.seq, l.hash}
	}
	if err := in.Err(); err != nil {
		return head{}, &LineError{last.seq + 2, fmt.Errorf("it cannot be read: %w", err)}
	}
	if last.seq < header.seq {
		return head{}, lineError(last.seq+1, errMissing)
	}
	if last.hash != header.hash {
		return head{}, &LineError{1, errors.New("its head is not the hash of the last entry: this line was changed, or that one")}
	}
	return last, nil
}

// sortingTx holds the pairs put into some buckets and writes them in order at the end;
// nobody may read a range of those buckets meanwhile. In a transaction of many keys an
// engine can take a time for each that grows with their number, but for those that come
// in order.
type sortingTx struct {
	Tx
	held map[string]map[string][]byte
}

func (t *sortingTx) Get(bucket string, key []byte) []byte {
	if held, ok := t.held[bucket]; ok {
		return held[string(key)]
	}
	return t.Tx.Get(bucket, key)
}

func (t *sortingTx) Put(bucket string, key, value []byte) error {
	if held, ok := t.held[bucket]; ok {
		held[string(key)] = append([]byte{}, value...)
		return nil
	}
	return t.Tx.Put(bucket, key, value)
}

// put puts what is held.
func (t *sortingTx) put() error {
	for bucket, held := range t.held {
		for _, key := range slices.Sorted(maps.Keys(held)) {
			if err := t.Tx.Put(bucket, []byte(key), held[key]); err != nil {
				return err
			}
		}
	}
	return nil
}

var errBehind = errors.New("it stands behind the entry that the first line names as the last")

// lineError is an error about an entry in its line. The header is before them.
func lineError(seq uint64, err error) error {
	if _, ok := errors.AsType[*EntryError](err); !ok {
		err = &EntryError{seq, err}
	}
	return &LineError{seq + 1, err}
}

func readHeader(in *bufio.Scanner) (head, error) {
	some := in.Scan()
	if err := in.Err(); err != nil {
		return head{}, fmt.Errorf("it cannot be read: %w", err)
	}
	if !some {
		return head{}, errors.New("the file is empty")
	}
	var r headerRecord
	err := unmarshal(in.Bytes(), &r)
	var h Hash
	switch {
	case r.Format != linesFormat:
		return head{}, errors.New("it does not say that a journal of benchbell follows: name the right file")
	case r.Version > linesVersion:
		return head{}, fmt.Errorf("the file is of version %d, and this program reads up to version %d: %s", r.Version, linesVersion, useNewer)
	case err != nil:
		return head{}, err
	case r.Version < 1:
		return head{}, fmt.Errorf("the file is of version %d, and there never was one before 1", r.Version)
	}
	h, err = ParseHash(r.Head)
	return head{r.Entries, h}, err
}

// readLine takes an entry's line apart, and checks that it follows the last
// one.
func readLine(line []byte, last head) (link, error) {
	l := link{seq: last.seq + 1}
	rest, ok := bytes.CutPrefix(line, []byte(beforeHash))
	digits := rest[:min(len(rest), 2*len(l.hash))]
	rest, ok2 := bytes.CutPrefix(rest[len(digits):], []byte(beforeRecord))
	record, ok3 := bytes.CutSuffix(rest, []byte(afterRecord))
	if !ok || !ok2 || !ok3 {
		return link{}, errors.New("its line was changed or cut short: it does not have its hash and its record in their places")
	}
	l.record = bytes.Clone(record)
	if l.hash = last.hash.next(l.record); l.hash.String() != string(digits) {
		return link{}, l.misfit()
	}
	return l, nil
}

// misfit says why a hash does not fit: if the line is one of another place, it
// may be as it was written.
func (l link) misfit() error {
	switch e, err := decodeEntry(l.record); {
	case err == nil && e.Seq > l.seq:
		return fmt.Errorf("it is missing: entry %d stands in its place", e.Seq)
	case err == nil && e.Seq < l.seq:
		return fmt.Errorf("in its place stands entry %d once more", e.Seq)
	}
	return errors.New("it is not as it was written: its hash does not fit")
}

// enter puts an entry at the end of the journal as it stands, its bytes and
// all, and what follows from it into the indexes.
func (l link) enter(tx Tx) error {
	e, err := l.entry()
	if err != nil {
		return err
	}
	if err := tx.Put(bucketJournal, number(l.seq), append(l.hash[:], l.record...)); err != nil {
		return err
	}
	if err := indexEntry(tx, e); err != nil {
		return err
	}
	return seeCause(tx, e)
}

// seeCause notes that the event is handled which brought an entry. What cannot
// be the id of an event has brought none.
func seeCause(tx Tx, e core.Entry) error {
	if e.At.IsZero() || checkName("event id", e.Event) != nil || tx.Get(bucketSeen, []byte(e.Event)) != nil {
		return nil
	}
	return putMoment(tx, bucketSeen, "event id", e.Event, e.At)
}
