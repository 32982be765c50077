package store

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"benchbell/core"
)

// Batch is everything that one event changes.
type Batch struct {
	// Event is the id of the event, which can be committed once. If it is
	// empty, nothing is checked. At is the event's moment, which every Event
	// and every notice needs.
	Event string
	At    time.Time
	// Entries are added to the journal. Commit sets their Seq.
	Entries []core.Entry
	// Rows replace the rows of their suits.
	Rows []SuitRow
	// RowsMadeWith names the policy by which all rows of the store are made
	// after this batch. If it is empty, the name stored before stays.
	RowsMadeWith string
	// Notices are the keys of the notices given with this batch. A key that was
	// given before keeps its first moment.
	Notices []string
	// Wakes sets the wake times of these keys; a zero time removes one.
	Wakes map[string]time.Time
	// Out is put into the outbox, in this order. Commit sets Seq; First and
	// Tries begin at zero. An Edit replaces a pending Edit of the same post
	// that was not tried yet.
	Out []Out
	// Posts are post ids, by post key, that were read from the chat, as after
	// an older store was put back. An id is stored if its key has none yet and
	// is not pending. A parked post of that key was delivered after all, and is
	// no longer parked. All other ids are ignored.
	Posts map[string]string
	// Accounts sets the account id that a user name belongs to; an empty id
	// removes the name.
	Accounts map[string]string
	// Mark is how far Channel has been read, unless that is empty.
	Channel string
	Mark    Mark
}

// Mark is how far a channel has been read, in the chat server's milliseconds.
type Mark struct {
	Created int64
	Updated int64
	Anchor  string
}

type markRecord struct {
	Created int64  `json:"created"`
	Updated int64  `json:"updated"`
	Anchor  string `json:"anchor,omitempty"`
}

// Wake is a moment at which the engine wants to be woken.
type Wake struct {
	Key string
	Due time.Time
}

// ErrSeen is returned for an event that was committed before.
var ErrSeen = errors.New("the event was handled before")

// Commit writes a batch in one transaction. The error is ErrSeen if the event
// was committed before. After any error the batch is unchanged, and so is the
// store, unless the error is ErrInDoubt: then read the store to find out.
func (s *Store) Commit(b *Batch) error {
	var entry, out uint64
	err := s.update(func(tx Tx) (err error) {
		if err := see(tx, b.Event, b.At); err != nil {
			return err
		}
		if entry, err = appendEntries(tx, b.Entries); err != nil {
			return err
		}
		for _, row := range b.Rows {
			if err := putRow(tx, row); err != nil {
				return err
			}
		}
		if err := setRowsMadeWith(tx, b.RowsMadeWith); err != nil {
			return err
		}
		if err := give(tx, b.Notices, b.At); err != nil {
			return err
		}
		if err := setWakes(tx, b.Wakes); err != nil {
			return err
		}
		if out, err = send(tx, b.Out); err != nil {
			return err
		}
		if err := learnPosts(tx, b.Posts); err != nil {
			return err
		}
		if err := setAccounts(tx, b.Accounts); err != nil {
			return err
		}
		return setMark(tx, b.Channel, b.Mark)
	})
	if err != nil {
		return fmt.Errorf("commit %s: %w", b.name(), err)
	}
	for i := range b.Entries {
		b.Entries[i].Seq = entry + uint64(i)
	}
	for i := range b.Out {
		b.Out[i].Seq = out + uint64(i)
	}
	return nil
}

// name says which batch it is, for an error.
func (b *Batch) name() string {
	if b.Event == "" {
		return "a batch without an event"
	}
	return "event " + b.Event
}

// see notes that an event is handled, and when it happened.
func see(tx Tx, event string, at time.Time) error {
	if event == "" {
		return nil
	}
	if tx.Get(bucketSeen, []byte(event)) != nil {
		return ErrSeen
	}
	return putMoment(tx, bucketSeen, "event id", event, at)
}

// putMoment stores a moment under a name.
func putMoment(tx Tx, bucket, what, name string, at time.Time) error {
	if err := checkName(what, name); err != nil {
		return err
	}
	if at.IsZero() {
		return fmt.Errorf("%s %q cannot be kept: it needs its moment", what, name)
	}
	text, err := moment(at).MarshalText()
	if err != nil {
		return fmt.Errorf("%s %q cannot be kept: %w", what, name, err)
	}
	return tx.Put(bucket, []byte(name), text)
}

// Seen reports whether an event was committed before.
func (s *Store) Seen(event string) (bool, error) {
	_, ok, err := s.lookUp(bucketSeen, event)
	return ok, err
}

// give notes which notices are given, and when each was for the first time.
func give(tx Tx, notices []string, at time.Time) error {
	for _, key := range notices {
		if tx.Get(bucketNotices, []byte(key)) != nil {
			continue
		}
		if err := putMoment(tx, bucketNotices, "notice key", key, at); err != nil {
			return err
		}
	}
	return nil
}

// Given tells which of these notices were given, by any batch there was.
func (s *Store) Given(keys ...string) (map[string]bool, error) {
	given := make(map[string]bool)
	err := s.engine.View(func(tx Tx) error {
		for _, key := range keys {
			if tx.Get(bucketNotices, []byte(key)) != nil {
				given[key] = true
			}
		}
		return nil
	})
	return given, err
}

func setWakes(tx Tx, wakes map[string]time.Time) error {
	for _, key := range slices.Sorted(maps.Keys(wakes)) {
		if wakes[key].IsZero() {
			if err := tx.Delete(bucketWakes, []byte(key)); err != nil {
				return err
			}
			continue
		}
		if err := putMoment(tx, bucketWakes, "wake key", key, wakes[key]); err != nil {
			return err
		}
	}
	return nil
}

// Wakes returns the wake times that are set, soonest first, and those of one
// moment in the order of their keys.
func (s *Store) Wakes() ([]Wake, error) {
	all, err := collect(pages(s.engine, bucketWakes, nil, nil, func(_ Tx, key, value []byte) (Wake, error) {
		var due moment
		err := due.UnmarshalText(value)
		return Wake{Key: string(key), Due: time.Time(due)}, err
	}))
	slices.SortStableFunc(all, func(a, b Wake) int { return a.Due.Compare(b.Due) })
	return all, err
}

func setMark(tx Tx, channel string, m Mark) error {
	if channel == "" {
		return nil
	}
	if err := checkName("channel id", channel); err != nil {
		return err
	}
	data, err := marshal(markRecord(m))
	if err != nil {
		return err
	}
	return tx.Put(bucketMarks, []byte(channel), data)
}

// Marks returns how far each channel has been read, by the channel's id.
func (s *Store) Marks() (map[string]Mark, error) {
	marks := make(map[string]Mark)
	err := s.engine.View(func(tx Tx) error {
		for channel, data := range tx.Range(bucketMarks, nil, nil) {
			var r markRecord
			if err := unmarshal(data, &r); err != nil {
				return fmt.Errorf("mark of channel %s: %w", channel, err)
			}
			marks[string(channel)] = Mark(r)
		}
		return nil
	})
	return marks, err
}

func setAccounts(tx Tx, accounts map[string]string) error {
	for _, name := range slices.Sorted(maps.Keys(accounts)) {
		if err := checkName("user name", name); err != nil {
			return err
		}
		id := accounts[name]
		if id == "" {
			if err := tx.Delete(bucketAccounts, []byte(name)); err != nil {
				return err
			}
			continue
		}
		if err := checkName("account id", id); err != nil {
			return err
		}
		if err := tx.Put(bucketAccounts, []byte(name), []byte(id)); err != nil {
			return err
		}
	}
	return nil
}

// Accounts returns the account id that each user name belongs to, as far as
// batches have set it.
func (s *Store) Accounts() (map[string]string, error) {
	accounts := make(map[string]string)
	err := s.engine.View(func(tx Tx) error {
		for name, id := range tx.Range(bucketAccounts, nil, nil) {
			accounts[string(name)] = string(id)
		}
		return nil
	})
	return accounts, err
}
