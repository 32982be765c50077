package store

import (
	"errors"
	"fmt"
	"time"
)

// OutKind tells a post to be made from a change of one.
type OutKind string

// The kinds of what goes out.
const (
	Post OutKind = "post"
	Edit OutKind = "edit"
)

// Out is a post to be made, or a new text for a post made before. It stays in
// the outbox until it is delivered or given up.
type Out struct {
	Seq  uint64 // place in the outbox from 1, given by the store, never used again
	Kind OutKind
	// Key names a Post for ever: no other may ever have it. An Edit has none.
	Key string
	// Target is the key of the Post that an Edit changes.
	Target string
	// Person and Channel say where a Post goes, by the chat server's ids;
	// Thread is the key of the Post that begins its thread, if the store knows
	// it, and Root the chat server's id of one that somebody else began.
	Person  string
	Channel string
	Thread  string
	Root    string
	Text    string
	Offer   int // numbers put under the post for people to tap
	// File is attached to a Post, under the name FileName.
	File     []byte
	FileName string

	First time.Time // when delivery was first tried, zero if it was not
	Tries int       // how often it was
}

// Parked is something given up, and why.
type Parked struct {
	Out
	Why string
}

// ErrNotPending is returned for a number that is not, or no longer, in the
// outbox: what had it was delivered, parked, or replaced before it was tried.
var ErrNotPending = errors.New("not in the outbox")

type outRecord struct {
	Kind    coded[OutKind] `json:"kind"`
	Key     string         `json:"key,omitempty"`
	Target  string         `json:"target,omitempty"`
	Person  string         `json:"person,omitempty"`
	Channel string         `json:"channel,omitempty"`
	Thread  string         `json:"thread,omitempty"`
	Root    string         `json:"root,omitempty"`
	Text    string         `json:"text,omitempty"`
	Offer   int            `json:"offer,omitempty"`
	File    []byte         `json:"file,omitempty"`
	Named   string         `json:"file_name,omitempty"`
	First   moment         `json:"first,omitzero"`
	Tries   int            `json:"tries,omitempty"`
	Why     string         `json:"why,omitempty"`
}

func encodeOut(p Parked) ([]byte, error) {
	o := p.Out
	return marshal(outRecord{
		Kind: code(o.Kind), Key: o.Key, Target: o.Target, Person: o.Person, Channel: o.Channel,
		Thread: o.Thread, Root: o.Root, Text: o.Text, Offer: o.Offer, File: o.File, Named: o.FileName, First: moment(o.First), Tries: o.Tries, Why: p.Why,
	})
}

// readOut reads what stands in the outbox, or in the list of what is parked.
func readOut(_ Tx, key, value []byte) (Parked, error) {
	seq, err := toNumber(key)
	if err != nil {
		return Parked{}, err
	}
	var r outRecord
	if err := unmarshal(value, &r); err != nil {
		return Parked{}, fmt.Errorf("outbox number %d: %w", seq, err)
	}
	return Parked{
		Out: Out{
			Seq: seq, Kind: r.Kind.is, Key: r.Key, Target: r.Target, Person: r.Person, Channel: r.Channel,
			Thread: r.Thread, Root: r.Root, Text: r.Text, Offer: r.Offer, File: r.File, FileName: r.Named, First: time.Time(r.First), Tries: r.Tries,
		},
		Why: r.Why,
	}, nil
}

func putOut(tx Tx, bucket string, p Parked) error {
	data, err := encodeOut(p)
	if err != nil {
		return fmt.Errorf("outbox number %d: %w", p.Seq, err)
	}
	return tx.Put(bucket, number(p.Seq), data)
}

// getPending reads what is in the outbox under a number.
func getPending(tx Tx, seq uint64) (Out, error) {
	value := tx.Get(bucketOut, number(seq))
	if value == nil {
		return Out{}, fmt.Errorf("outbox number %d: %w", seq, ErrNotPending)
	}
	p, err := readOut(tx, number(seq), value)
	return p.Out, err
}

// send puts a batch's posts and edits into the outbox, and returns the number
// of the first.
func send(tx Tx, outs []Out) (first uint64, err error) {
	var last uint64
	if data := tx.Get(bucketMeta, keyLastOut); data != nil {
		if last, err = toNumber(data); err != nil {
			return 0, err
		}
	}
	first = last + 1
	for i, o := range outs {
		last++
		o.Seq, o.First, o.Tries = last, time.Time{}, 0
		if err := sendOne(tx, o); err != nil {
			return 0, fmt.Errorf("post %d of %d: %w", i+1, len(outs), err)
		}
	}
	if len(outs) == 0 {
		return first, nil
	}
	return first, tx.Put(bucketMeta, keyLastOut, number(last))
}

func sendOne(tx Tx, o Out) error {
	var err error
	switch o.Kind {
	case Post:
		err = claimKey(tx, o)
	case Edit:
		o.Offer, err = supersede(tx, o)
	default:
		err = fmt.Errorf("it is of the kind %q, neither post nor edit", o.Kind)
	}
	if err != nil {
		return err
	}
	return putOut(tx, bucketOut, Parked{Out: o})
}

// claimKey makes sure that a key is used once.
func claimKey(tx Tx, o Out) error {
	if err := checkName("post key", o.Key); err != nil {
		return err
	}
	if o.Target != "" {
		return fmt.Errorf("post %s has a target, which only an edit can have", o.Key)
	}
	if tx.Get(bucketPostIDs, []byte(o.Key)) != nil {
		return fmt.Errorf("post key %s was used before: every post needs a key of its own", o.Key)
	}
	return tx.Put(bucketPostIDs, []byte(o.Key), nil)
}

// supersede takes the place of the edit of the same post that nobody tried to
// deliver yet: its text is out of date. It returns how many numbers are to be
// offered, which is no fewer than with the one dropped.
func supersede(tx Tx, o Out) (offer int, err error) {
	if o.Key != "" {
		return 0, fmt.Errorf("the edit of %s has the key %s, which only a post can have", o.Target, o.Key)
	}
	target := []byte(o.Target)
	if tx.Get(bucketPostIDs, target) == nil {
		return 0, fmt.Errorf("post %q cannot be edited: there was no post of that key", o.Target)
	}
	offer = o.Offer
	if key := tx.Get(bucketUntried, target); key != nil {
		seq, err := toNumber(key)
		if err != nil {
			return 0, err
		}
		before, err := getPending(tx, seq)
		if err != nil {
			return 0, err
		}
		offer = max(offer, before.Offer)
		if err := tx.Delete(bucketOut, key); err != nil {
			return 0, err
		}
	}
	return offer, tx.Put(bucketUntried, target, number(o.Seq))
}

// touch makes sure that an edit is not replaced any more.
func touch(tx Tx, o Out) error {
	if o.Kind != Edit || o.Tries > 0 {
		return nil
	}
	return tx.Delete(bucketUntried, []byte(o.Target))
}

// leave takes something out of the outbox.
func leave(tx Tx, o Out) error {
	if err := touch(tx, o); err != nil {
		return err
	}
	return tx.Delete(bucketOut, number(o.Seq))
}

// Pending returns what is to be delivered, in order.
//
// Call [Store.Tried] before each attempt: what was not tried can be replaced
// at any moment, and what was is known after a crash as perhaps delivered.
func (s *Store) Pending() ([]Out, error) {
	return collect(pages(s.engine, bucketOut, nil, nil, func(tx Tx, key, value []byte) (Out, error) {
		p, err := readOut(tx, key, value)
		return p.Out, err
	}))
}

// Parked returns what was given up, in the order of the numbers.
func (s *Store) Parked() ([]Parked, error) {
	return collect(pages(s.engine, bucketParked, nil, nil, readOut))
}

// Tried notes that delivery is about to be tried, at a moment of the chat
// server's clock. The error is ErrNotPending if there is nothing to deliver.
func (s *Store) Tried(seq uint64, at time.Time) error {
	return s.engine.Update(func(tx Tx) error {
		o, err := getPending(tx, seq)
		if err != nil {
			return err
		}
		if err := touch(tx, o); err != nil {
			return err
		}
		o.Tries++
		if o.First.IsZero() {
			o.First = at
		}
		return putOut(tx, bucketOut, Parked{Out: o})
	})
}

// Delivered takes something out of the outbox. For a Post it notes the id
// that the chat server gave; for an Edit that id is of no account. The error
// is ErrNotPending if it is not in the outbox.
func (s *Store) Delivered(seq uint64, postID string) error {
	return s.engine.Update(func(tx Tx) error {
		o, err := getPending(tx, seq)
		if err != nil {
			return err
		}
		if o.Kind == Post {
			if err := notePost(tx, o.Key, postID); err != nil {
				return err
			}
		}
		return leave(tx, o)
	})
}

func notePost(tx Tx, key, postID string) error {
	if err := checkName("post id", postID); err != nil {
		return err
	}
	if other := tx.Get(bucketPostKeys, []byte(postID)); other != nil {
		return fmt.Errorf("post id %s cannot be that of %s: it is that of %s", postID, key, other)
	}
	if err := tx.Put(bucketPostKeys, []byte(postID), []byte(key)); err != nil {
		return err
	}
	return tx.Put(bucketPostIDs, []byte(key), []byte(postID))
}

// Park gives something up, with the reason. It stays among what is parked; its
// key is used up. The error is ErrNotPending if it is not in the outbox.
func (s *Store) Park(seq uint64, why string) error {
	return s.engine.Update(func(tx Tx) error {
		o, err := getPending(tx, seq)
		if err != nil {
			return err
		}
		if err := putOut(tx, bucketParked, Parked{Out: o, Why: why}); err != nil {
			return err
		}
		return leave(tx, o)
	})
}

// PostID returns the id of the post made for a key, if it was delivered.
func (s *Store) PostID(key string) (id string, ok bool, err error) {
	id, ok, err = s.lookUp(bucketPostIDs, key)
	return id, ok && id != "", err
}

// HasPost reports whether there is a post of a key, delivered or still to be:
// only such a one can be edited.
func (s *Store) HasPost(key string) (bool, error) {
	_, ok, err := s.lookUp(bucketPostIDs, key)
	return ok, err
}

// PostKey returns the key of a post that the bot made.
func (s *Store) PostKey(id string) (key string, ok bool, err error) {
	return s.lookUp(bucketPostKeys, id)
}
