package store

import (
	"fmt"
	"iter"
	"strconv"
	"time"

	"benchbell/core"
)

// SuitRow summarises the entries of a suit, so that a question about the fleet
// need not read the entries of 100,000 suits. Nothing in it depends on the day
// of asking: whether a test is overdue is not in it.
type SuitRow struct {
	Tag       string
	Size      string
	Place     string
	Kind      core.StandingKind
	Bars      []core.Bar // to be shown: core decides from the entries
	Due       core.Date  // last day in test, zero if none
	EndOfLife core.Date  // last day of use, zero if none is set
}

type rowRecord struct {
	Tag       string                   `json:"tag"`
	Size      string                   `json:"size,omitempty"`
	Place     string                   `json:"place,omitempty"`
	Kind      coded[core.StandingKind] `json:"kind"`
	Bars      []barRecord              `json:"bars,omitempty"`
	Due       core.Date                `json:"due,omitzero"`
	EndOfLife core.Date                `json:"end_of_life,omitzero"`
}

type barRecord struct {
	Kind  coded[core.BarKind] `json:"kind,omitzero"`
	Since moment              `json:"since,omitzero"`
	Note  string              `json:"note,omitempty"`
	Run   core.RunID          `json:"run,omitempty"`

	Remedied bool `json:"remedied,omitempty"`
}

func recordBar(b core.Bar) barRecord {
	return barRecord{Kind: code(b.Kind), Since: moment(b.Since), Note: b.Note, Run: b.Run, Remedied: b.Remedied}
}

func (r barRecord) bar() core.Bar {
	return core.Bar{Kind: r.Kind.is, Since: time.Time(r.Since), Note: r.Note, Run: r.Run, Remedied: r.Remedied}
}

func encodeRow(r SuitRow) ([]byte, error) {
	return marshal(rowRecord{
		Tag: r.Tag, Size: r.Size, Place: r.Place, Kind: code(r.Kind),
		Bars: each(r.Bars, recordBar), Due: r.Due, EndOfLife: r.EndOfLife,
	})
}

func decodeRow(data []byte) (SuitRow, error) {
	var r rowRecord
	if err := unmarshal(data, &r); err != nil {
		return SuitRow{}, err
	}
	return SuitRow{
		Tag: r.Tag, Size: r.Size, Place: r.Place, Kind: r.Kind.is,
		Bars: each(r.Bars, barRecord.bar), Due: r.Due, EndOfLife: r.EndOfLife,
	}, nil
}

// getRow reads the row of a suit that an index names, or that may be missing.
func getRow(tx Tx, tag string) (row SuitRow, ok bool, err error) {
	data := tx.Get(bucketRows, []byte(tag))
	if data == nil {
		return SuitRow{}, false, nil
	}
	row, err = decodeRow(data)
	if err != nil {
		return SuitRow{}, false, fmt.Errorf("row of suit %s: %w", tag, err)
	}
	return row, true, nil
}

// place is a key in an index.
type place struct {
	bucket string
	key    []byte
}

// places returns the keys of a row in the indexes of the rows. A retired suit
// has none.
func (r SuitRow) places() []place {
	if r.Kind == core.OutForGood {
		return nil
	}
	var all []place
	if len(r.Bars) > 0 || r.Kind == core.OnTheBench || r.Kind == core.NotFit {
		all = append(all, place{bucketBarred, []byte(r.Tag)})
	}
	if !r.Due.IsZero() {
		all = append(all, place{bucketDue, under(r.Due.String(), []byte(r.Tag))})
	}
	if !r.EndOfLife.IsZero() {
		all = append(all, place{bucketEnding, under(r.EndOfLife.String(), []byte(r.Tag))})
	}
	return all
}

// putRow writes a row, its places in the indexes and the counts of the kinds.
func putRow(tx Tx, row SuitRow) error {
	if err := checkName("suit tag", row.Tag); err != nil {
		return err
	}
	data, err := encodeRow(row)
	if err != nil {
		return fmt.Errorf("row of suit %s: %w", row.Tag, err)
	}
	old, ok, err := getRow(tx, row.Tag)
	if err != nil {
		return err
	}
	if ok {
		for _, p := range old.places() {
			if err := tx.Delete(p.bucket, p.key); err != nil {
				return err
			}
		}
		if err := addToCount(tx, old.Kind, -1); err != nil {
			return err
		}
	}
	for _, p := range row.places() {
		if err := tx.Put(p.bucket, p.key, nil); err != nil {
			return err
		}
	}
	if err := addToCount(tx, row.Kind, +1); err != nil {
		return err
	}
	return tx.Put(bucketRows, []byte(row.Tag), data)
}

func addToCount(tx Tx, kind core.StandingKind, n int) error {
	key, err := code(kind).MarshalText()
	if err != nil {
		return err
	}
	count, err := toCount(tx.Get(bucketCounts, key))
	if err != nil {
		return err
	}
	if count+n == 0 {
		return tx.Delete(bucketCounts, key)
	}
	return tx.Put(bucketCounts, key, []byte(strconv.Itoa(count+n)))
}

func toCount(data []byte) (int, error) {
	if data == nil {
		return 0, nil
	}
	n, err := strconv.Atoi(string(data))
	if err != nil || n < 1 {
		return 0, fmt.Errorf("count of suits %q cannot be right: put a backup in the place of the file", data)
	}
	return n, nil
}

// setRowsMadeWith notes by which policy all rows were made.
func setRowsMadeWith(tx Tx, policy string) error {
	if policy == "" {
		return nil
	}
	return tx.Put(bucketMeta, keyRowsMadeWith, []byte(policy))
}

// RowsMadeWith returns the name of the policy by which all rows were made, as
// the last batch that named one gave it; empty if none did.
func (s *Store) RowsMadeWith() (string, error) {
	policy, _, err := s.lookUp(bucketMeta, string(keyRowsMadeWith))
	return policy, err
}

// Row returns the row of a suit, by its exact tag.
func (s *Store) Row(tag string) (row SuitRow, ok bool, err error) {
	err = s.engine.View(func(tx Tx) error {
		row, ok, err = getRow(tx, tag)
		return err
	})
	return row, ok, err
}

// Rows yields all rows in the order of the tags. Like all sequences of rows it
// reads a page at a time: a row that changes while the loop runs may come in its
// old or its new state.
func (s *Store) Rows() iter.Seq2[SuitRow, error] {
	return pages(s.engine, bucketRows, nil, nil, func(_ Tx, key, value []byte) (SuitRow, error) {
		row, err := decodeRow(value)
		if err != nil {
			return SuitRow{}, fmt.Errorf("row of suit %s: %w", key, err)
		}
		return row, nil
	})
}

// Barred yields the rows of the suits that are barred, not fit or on the bench,
// in the order of the tags. It leaves out retired suits.
func (s *Store) Barred() iter.Seq2[SuitRow, error] {
	return s.rowsBy(bucketBarred, 0, nil)
}

// DueBy yields the rows that fall due on a day or before, earliest first. It
// leaves out retired suits.
func (s *Store) DueBy(day core.Date) iter.Seq2[SuitRow, error] {
	return s.rowsByDate(bucketDue, day)
}

// EndingBy yields the rows whose end of life is on a day or before, earliest
// first. It leaves out retired suits.
func (s *Store) EndingBy(day core.Date) iter.Seq2[SuitRow, error] {
	return s.rowsByDate(bucketEnding, day)
}

func (s *Store) rowsByDate(bucket string, day core.Date) iter.Seq2[SuitRow, error] {
	if day.IsZero() {
		return func(func(SuitRow, error) bool) {}
	}
	_, to := within(day.String())
	return s.rowsBy(bucket, len(to), to)
}

// rowsBy yields the rows of an index whose keys are a prefix of so many bytes
// and then the suit's tag.
func (s *Store) rowsBy(bucket string, behind int, to []byte) iter.Seq2[SuitRow, error] {
	return pages(s.engine, bucket, nil, to, func(tx Tx, key, _ []byte) (SuitRow, error) {
		if len(key) < behind {
			return SuitRow{}, fmt.Errorf("%q in %q names no suit: put a backup in the place of the file", key, bucket)
		}
		tag := string(key[behind:])
		row, ok, err := getRow(tx, tag)
		if err == nil && !ok {
			err = fmt.Errorf("row of suit %s is missing: put a backup in the place of the file", tag)
		}
		return row, err
	})
}

// Count returns how many suits have a row, and how many of each kind. Kinds
// that no suit has are left out.
func (s *Store) Count() (total int, byKind map[core.StandingKind]int, err error) {
	byKind = make(map[core.StandingKind]int)
	err = s.engine.View(func(tx Tx) error {
		for key, value := range tx.Range(bucketCounts, nil, nil) {
			var kind coded[core.StandingKind]
			n, err := toCount(value)
			if err == nil {
				err = kind.UnmarshalText(key)
			}
			if err != nil {
				return err
			}
			byKind[kind.is] = n
			total += n
		}
		return nil
	})
	return total, byKind, err
}
