package store

import (
	"errors"
	"fmt"
	"time"

	"benchbell/core"
)

// indexEntry adds an entry to the indexes of the journal. Nothing else writes
// them, so replaying the journal through it gives the same indexes.
func indexEntry(tx Tx, e core.Entry) error {
	if e.Suit != "" {
		if err := checkName("suit tag", e.Suit); err != nil {
			return err
		}
		if err := tx.Put(bucketBySuit, under(e.Suit, number(e.Seq)), nil); err != nil {
			return err
		}
	}
	if e.Run < 0 {
		return fmt.Errorf("run number %d cannot be kept: runs are numbered from 1", e.Run)
	}
	if e.Run != 0 {
		if err := tx.Put(bucketByRun, append(number(uint64(e.Run)), number(e.Seq)...), nil); err != nil {
			return err
		}
	}
	switch f := e.Fact.(type) {
	case core.SuitRegistered:
		return indexTag(tx, f.Suit.Tag)
	case core.ManometerRegistered:
		if err := checkName("manometer", f.Manometer.ID); err != nil {
			return err
		}
		return tx.Put(bucketManometers, []byte(f.Manometer.ID), number(e.Seq))
	case core.Opened:
		return errors.Join(indexOpened(tx, e), indexUse(tx, e.By.Name, f.Manometer.ID, e.At))
	case core.ManometerChosen:
		return indexUse(tx, e.By.Name, f.Manometer.ID, e.At)
	case core.PaperTest:
		return indexUse(tx, f.Tester, f.Manometer, e.At)
	case core.Closed:
		return tx.Delete(bucketOpenRuns, number(uint64(e.Run)))
	}
	return nil
}

// indexTag lets a tag be found by what people type for it.
func indexTag(tx Tx, tag string) error {
	if err := checkName("suit tag", tag); err != nil {
		return err
	}
	key := core.NameKey(tag)
	if err := checkName("what "+tag+" is looked up by", key); err != nil {
		return err
	}
	if other := tx.Get(bucketTags, []byte(key)); other != nil && string(other) != tag {
		return fmt.Errorf("suit tag %s cannot be told from %s when somebody types it: register the suit under another tag", tag, other)
	}
	return tx.Put(bucketTags, []byte(key), []byte(tag))
}

func indexOpened(tx Tx, e core.Entry) error {
	if e.Run == 0 {
		return errors.New("a run cannot be opened without a number")
	}
	run := number(uint64(e.Run))
	for range tx.Range(bucketByRun, run, append(run, number(e.Seq)...)) {
		return fmt.Errorf("run %v cannot be opened: the journal has a run of that number", e.Run)
	}
	last, err := lastRun(tx)
	if err != nil {
		return err
	}
	if e.Run > last {
		if err := tx.Put(bucketNumbers, keyLastRun, run); err != nil {
			return err
		}
	}
	return tx.Put(bucketOpenRuns, run, nil)
}

func lastRun(tx Tx) (core.RunID, error) {
	data := tx.Get(bucketNumbers, keyLastRun)
	if data == nil {
		return 0, nil
	}
	n, err := toNumber(data)
	return core.RunID(n), err
}

// useRecord says which manometer a person used last, and when.
type useRecord struct {
	At        moment `json:"at,omitzero"`
	Manometer string `json:"manometer"`
}

// indexUse notes that a person used a manometer. Paper tests are entered long
// after they were made, so the moment decides which use was the last, not the
// place in the journal.
func indexUse(tx Tx, person, manometer string, at time.Time) error {
	if person == "" || manometer == "" {
		return nil
	}
	if err := checkName("user name", person); err != nil {
		return err
	}
	if data := tx.Get(bucketLastUsed, []byte(person)); data != nil {
		var last useRecord
		if err := unmarshal(data, &last); err != nil {
			return fmt.Errorf("manometer last used by %s: %w", person, err)
		}
		if time.Time(last.At).After(at) {
			return nil
		}
	}
	data, err := marshal(useRecord{moment(at), manometer})
	if err != nil {
		return err
	}
	return tx.Put(bucketLastUsed, []byte(person), data)
}

// OfSuit returns the entries about a suit, in order. The tag must be exact;
// see [Store.SuitTag].
func (s *Store) OfSuit(tag string) ([]core.Entry, error) {
	from, to := within(tag)
	return collect(pages(s.engine, bucketBySuit, from, to, func(tx Tx, key, _ []byte) (core.Entry, error) {
		return indexed(tx, key[len(from):])
	}))
}

// OfRun returns the entries of a run, in order.
func (s *Store) OfRun(id core.RunID) ([]core.Entry, error) {
	from, to := number(uint64(id)), number(uint64(id)+1)
	return collect(pages(s.engine, bucketByRun, from, to, func(tx Tx, key, _ []byte) (core.Entry, error) {
		return indexed(tx, key[len(from):])
	}))
}

// indexed reads the entry that an index names.
func indexed(tx Tx, key []byte) (core.Entry, error) {
	seq, err := toNumber(key)
	if err != nil {
		return core.Entry{}, err
	}
	return getEntry(tx, seq)
}

// OpenRuns returns the runs that were opened and not closed, in the order of
// their numbers.
func (s *Store) OpenRuns() ([]core.RunID, error) {
	return collect(pages(s.engine, bucketOpenRuns, nil, nil, func(_ Tx, key, _ []byte) (core.RunID, error) {
		n, err := toNumber(key)
		return core.RunID(n), err
	}))
}

// NextRun returns the number for the next run to be opened: one more than the
// highest there was.
func (s *Store) NextRun() (core.RunID, error) {
	var last core.RunID
	err := s.engine.View(func(tx Tx) (err error) {
		last, err = lastRun(tx)
		return err
	})
	return last + 1, err
}

// Manometers returns the manometers as last registered, in the order of their
// ids.
func (s *Store) Manometers() ([]core.Manometer, error) {
	return collect(pages(s.engine, bucketManometers, nil, nil, func(tx Tx, _, value []byte) (core.Manometer, error) {
		e, err := indexed(tx, value)
		if err != nil {
			return core.Manometer{}, err
		}
		f, ok := e.Fact.(core.ManometerRegistered)
		if !ok {
			return core.Manometer{}, &EntryError{e.Seq, errors.New("it registers no manometer, though the index says so")}
		}
		return f.Manometer, nil
	}))
}

// LastUsed returns the id of the manometer that each person used last, by
// user name.
func (s *Store) LastUsed() (map[string]string, error) {
	used := make(map[string]string)
	err := s.engine.View(func(tx Tx) error {
		for person, data := range tx.Range(bucketLastUsed, nil, nil) {
			var last useRecord
			if err := unmarshal(data, &last); err != nil {
				return fmt.Errorf("manometer last used by %s: %w", person, err)
			}
			used[string(person)] = last.Manometer
		}
		return nil
	})
	return used, err
}

// lookUp gets the text stored under a name.
func (s *Store) lookUp(bucket, name string) (text string, ok bool, err error) {
	err = s.engine.View(func(tx Tx) error {
		value := tx.Get(bucket, []byte(name))
		text, ok = string(value), value != nil
		return nil
	})
	return text, ok, err
}
