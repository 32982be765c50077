package store

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"benchbell/core"
)

// Batch is all that one event changes.
type Batch struct {
	// Event is the id of the event, which can be committed once. If it is
	// empty, nothing is checked. At is the event's moment.
	Event string
	At    time.Time
	// Entries are added to the journal. Commit sets their Seq.
	Entries []core.Entry
	// Rows replace the rows of their suits.
	Rows []SuitRow
	// Wakes sets the wake times of these keys; a zero time removes one.
	Wakes map[string]time.Time
	// Out is put into the outbox, in this order. Commit sets Seq; First and
	// Tries begin at zero. An Edit replaces a pending Edit of the same post
	// that was not tried yet.
	Out []Out
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

// Commit does all that a batch says in one transaction: after an error nothing
// has changed, in the store or in the batch. The error is ErrSeen if the event
// was committed before.
func (s *Store) Commit(b *Batch) error {
	var entry, out uint64
	err := s.engine.Update(func(tx Tx) (err error) {
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
		if err := setWakes(tx, b.Wakes); err != nil {
			return err
		}
		if out, err = send(tx, b.Out); err != nil {
			return err
		}
		return setMark(tx, b.Channel, b.Mark)
	})
	if err != nil {
		return fmt.Errorf("%s was not kept, and nothing of it: %w", b.name(), err)
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
		return "what has no event"
	}
	return "event " + b.Event
}

// see notes that an event is handled, and when it happened.
func see(tx Tx, event string, at time.Time) error {
	if event == "" {
		return nil
	}
	if err := checkName("event id", event); err != nil {
		return err
	}
	if tx.Get(bucketSeen, []byte(event)) != nil {
		return ErrSeen
	}
	if at.IsZero() {
		return errors.New("an event needs its moment, to know when it can be forgotten")
	}
	moment, err := momentKey(at)
	if err != nil {
		return err
	}
	if err := tx.Put(bucketSeenAt, under(moment, []byte(event)), nil); err != nil {
		return err
	}
	return tx.Put(bucketSeen, []byte(event), []byte(moment))
}

// Seen reports whether an event was committed before, and not forgotten.
func (s *Store) Seen(event string) (bool, error) {
	_, ok, err := s.lookUp(bucketSeen, event)
	return ok, err
}

// Forget forgets the ids of events that happened before a moment, and returns
// how many. The journal keeps the ids that its entries have. The moment must
// be so far back that no such event can come again.
func (s *Store) Forget(before time.Time) (n int, err error) {
	moment, err := momentKey(before)
	if err != nil {
		return 0, err
	}
	for {
		var keys [][]byte
		err := s.engine.Update(func(tx Tx) error {
			for key := range tx.Range(bucketSeenAt, nil, []byte(moment)) {
				keys = append(keys, key)
				if len(keys) == pageSize { // Commit must not wait long
					break
				}
			}
			for _, key := range keys {
				event := key[len(moment)+1:]
				if err := errors.Join(tx.Delete(bucketSeen, event), tx.Delete(bucketSeenAt, key)); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return n, fmt.Errorf("forget events before %s: %w", moment, err)
		}
		n += len(keys)
		if len(keys) < pageSize {
			return n, nil
		}
	}
}

func setWakes(tx Tx, wakes map[string]time.Time) error {
	for _, key := range slices.Sorted(maps.Keys(wakes)) {
		if err := checkName("wake key", key); err != nil {
			return err
		}
		if wakes[key].IsZero() {
			if err := tx.Delete(bucketWakes, []byte(key)); err != nil {
				return err
			}
			continue
		}
		due, err := moment(wakes[key]).MarshalText()
		if err != nil {
			return fmt.Errorf("wake time of %s: %w", key, err)
		}
		if err := tx.Put(bucketWakes, []byte(key), due); err != nil {
			return err
		}
	}
	return nil
}

// Wakes returns the wake times that are set, soonest first; of several at one
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
