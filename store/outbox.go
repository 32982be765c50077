package store

import (
	"errors"
	"fmt"
	"iter"
	"time"
)

// OutKind says whether an Out is a new post or an edit.
type OutKind string

// The kinds of what goes out.
const (
	Post OutKind = "post"
	Edit OutKind = "edit"
)

// OutClass says how urgent a message is, and with that what delivery does when
// it cannot be delivered.
type OutClass string

// The classes. A message without a class is an Answer.
const (
	Answer  OutClass = ""        // somebody asked and is waiting
	Bell    OutClass = "bell"    // a moment of a running test
	Verdict OutClass = "verdict" // the result of a test
	Card    OutClass = "card"    // the post that begins the thread of a run
	List    OutClass = "list"    // a checklist
	Notice  OutClass = "notice"  // the daily digest, and what officers are told
)

// Out is a post to be made, or a new text for a post made before. It stays in
// the outbox until it is delivered or parked.
type Out struct {
	Seq   uint64 // place in the outbox from 1, given by the store, never used again
	Kind  OutKind
	Class OutClass
	// Key names a Post for ever: no other post may ever have it. An Edit has
	// none. The copies of a post have keys from NextCopy.
	Key string
	// Target is the key of the Post that an Edit changes, without the number of
	// a copy: the newest copy is changed.
	Target string
	// Person and Channel say where a Post goes, by the chat server's ids;
	// Thread is the key of the Post that begins its thread, if the store knows
	// it, again without the number of a copy, and Root the chat server's id of
	// a post that somebody else began a thread with.
	Person  string
	Channel string
	Thread  string
	Root    string
	// Fallback is the id of the person who is told directly if no channel takes
	// the message. If it is empty, nobody is told.
	Fallback string
	Text     string
	Due      time.Time // moment that a timed post is about; zero if it is not timed
	Offer    int       // numbers put under the post for people to tap; all there is to an Edit without text
	// File is attached to a Post, under the name FileName. Instead of a File,
	// Doc names a document or a picture that is made when the post is delivered.
	File     []byte
	FileName string
	Doc      string

	First time.Time // when delivery was first tried, zero if it was not
	Tries int       // how often it was
}

// Parked is a message that was given up, and why.
type Parked struct {
	Out
	Why string
}

// ErrNotPending is returned for a number that is not, or no longer, in the
// outbox: its message was delivered, parked, or replaced before it was tried.
var ErrNotPending = errors.New("not in the outbox")

// ErrNotParked is returned for a number that is not, or no longer, parked.
var ErrNotParked = errors.New("not parked")

// ErrStaleEdit is returned for a parked Edit that is to be sent again: a newer
// Edit of the post may have been delivered since, and the old text would
// replace the newer one.
var ErrStaleEdit = errors.New("an edit cannot be sent again: make a new one with the text that is right now")

type outRecord struct {
	Kind     coded[OutKind]  `json:"kind"`
	Class    coded[OutClass] `json:"class,omitzero"`
	Key      string          `json:"key,omitempty"`
	Target   string          `json:"target,omitempty"`
	Person   string          `json:"person,omitempty"`
	Channel  string          `json:"channel,omitempty"`
	Thread   string          `json:"thread,omitempty"`
	Root     string          `json:"root,omitempty"`
	Fallback string          `json:"fallback,omitempty"`
	Text     string          `json:"text,omitempty"`
	Due      moment          `json:"due,omitzero"`
	Offer    int             `json:"offer,omitempty"`
	File     []byte          `json:"file,omitempty"`
	FileName string          `json:"file_name,omitempty"`
	Doc      string          `json:"doc,omitempty"`
	First    moment          `json:"first,omitzero"`
	Tries    int             `json:"tries,omitempty"`
	Why      string          `json:"why,omitempty"`
}

func encodeOut(p Parked) ([]byte, error) {
	o := p.Out
	return marshal(outRecord{
		Kind: code(o.Kind), Class: code(o.Class), Key: o.Key, Target: o.Target,
		Person: o.Person, Channel: o.Channel, Thread: o.Thread, Root: o.Root, Fallback: o.Fallback,
		Text: o.Text, Due: moment(o.Due), Offer: o.Offer, File: o.File, FileName: o.FileName, Doc: o.Doc,
		First: moment(o.First), Tries: o.Tries, Why: p.Why,
	})
}

func (r outRecord) parked(seq uint64) Parked {
	return Parked{Why: r.Why, Out: Out{
		Seq: seq, Kind: r.Kind.is, Class: r.Class.is, Key: r.Key, Target: r.Target,
		Person: r.Person, Channel: r.Channel, Thread: r.Thread, Root: r.Root, Fallback: r.Fallback,
		Text: r.Text, Due: time.Time(r.Due), Offer: r.Offer, File: r.File, FileName: r.FileName, Doc: r.Doc,
		First: time.Time(r.First), Tries: r.Tries,
	}}
}

// readOut reads a record of the outbox, or of the parked messages.
func readOut(_ Tx, key, value []byte) (Parked, error) {
	seq, err := toNumber(key)
	if err != nil {
		return Parked{}, err
	}
	var r outRecord
	if err := unmarshal(value, &r); err != nil {
		return Parked{}, fmt.Errorf("outbox number %d: %w", seq, err)
	}
	return r.parked(seq), nil
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
	last, err := lastOut(tx)
	if err != nil {
		return 0, err
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

// lastOut returns the number last given in the outbox.
func lastOut(tx Tx) (uint64, error) {
	data := tx.Get(bucketMeta, keyLastOut)
	if data == nil {
		return 0, nil
	}
	return toNumber(data)
}

func sendOne(tx Tx, o Out) error {
	o.Target, _ = splitCopy(o.Target)
	o.Thread, _ = splitCopy(o.Thread)
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
	if err := checkPostKey(o.Key); err != nil {
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
	if used, _ := newestCopy(tx, o.Target); used == 0 {
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

// leave takes a message out of the outbox.
func leave(tx Tx, o Out) error {
	if err := touch(tx, o); err != nil {
		return err
	}
	return tx.Delete(bucketOut, number(o.Seq))
}

// Pending returns what is to be delivered, in order.
//
// Call [Store.Tried] before each attempt: a message that was not tried can be
// replaced at any moment, and one that was tried is known after a crash as
// perhaps delivered.
func (s *Store) Pending() ([]Out, error) { return s.PendingAfter(0) }

// PendingAfter returns what is to be delivered and has a higher number, in
// order: what was put into the outbox since that number was read.
func (s *Store) PendingAfter(seq uint64) ([]Out, error) {
	return collect(pages(s.engine, bucketOut, number(seq+1), nil, func(tx Tx, key, value []byte) (Out, error) {
		p, err := readOut(tx, key, value)
		return p.Out, err
	}))
}

// PendingFrom yields what is to be delivered from a number on, in order, but
// without the bytes of the files, for which there is OutFile. Whoever remembers
// the number of the last message seen reads each message once, however many
// are waiting: what is new, or sent again, has a higher number.
func (s *Store) PendingFrom(seq uint64) iter.Seq2[Out, error] {
	return pages(s.engine, bucketOut, number(seq), nil, func(tx Tx, key, value []byte) (Out, error) {
		p, err := readOut(tx, key, value)
		p.File = nil
		return p.Out, err
	})
}

// OutFile returns the File of a message that is to be delivered. The error is
// ErrNotPending if the message is not in the outbox.
func (s *Store) OutFile(seq uint64) (file []byte, err error) {
	err = s.engine.View(func(tx Tx) error {
		o, err := getPending(tx, seq)
		file = o.File
		return err
	})
	return file, err
}

// Parked returns the messages that were given up, in the order of their
// numbers.
func (s *Store) Parked() ([]Parked, error) {
	return collect(pages(s.engine, bucketParked, nil, nil, readOut))
}

// ParkedCount returns how many messages are parked.
func (s *Store) ParkedCount() (n int, err error) {
	err = s.engine.View(func(tx Tx) error {
		n = count(tx.Range(bucketParked, nil, nil))
		return nil
	})
	return n, err
}

// Tried notes that delivery is about to be tried, at a moment of the chat
// server's clock. The error is ErrNotPending if there is nothing to deliver.
func (s *Store) Tried(seq uint64, at time.Time) error {
	return s.mark(func(tx Tx) error { return try(tx, seq, at) })
}

// TriedAll is Tried for several messages in one transaction. It passes over
// those that are not in the outbox, and returns the numbers of the others.
func (s *Store) TriedAll(seqs []uint64, at time.Time) (tried []uint64, err error) {
	err = s.mark(func(tx Tx) error {
		tried = nil // the transaction may be run again
		for _, seq := range seqs {
			err := try(tx, seq, at)
			if errors.Is(err, ErrNotPending) {
				continue
			}
			if err != nil {
				return err
			}
			tried = append(tried, seq)
		}
		return nil
	})
	return tried, err
}

func try(tx Tx, seq uint64, at time.Time) error {
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
}

// Delivered takes a message out of the outbox. For a Post it notes the id that
// the chat server gave; for an Edit the id is ignored. The error is
// ErrNotPending if the message is not in the outbox.
func (s *Store) Delivered(seq uint64, postID string) error {
	return s.mark(func(tx Tx) error {
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

// Posted notes the id of a Post whose numbers are still to be offered. What
// stays in the outbox, under the same number, is an Edit of it that has no text
// but the numbers: [Store.Delivered] takes it out. The error is ErrNotPending
// if the message is not in the outbox.
func (s *Store) Posted(seq uint64, postID string) error {
	return s.mark(func(tx Tx) error {
		o, err := getPending(tx, seq)
		if err != nil {
			return err
		}
		if o.Kind != Post { // noted before
			return nil
		}
		if err := notePost(tx, o.Key, postID); err != nil {
			return err
		}
		base, _ := splitCopy(o.Key)
		return putOut(tx, bucketOut, Parked{Out: Out{
			Seq: seq, Kind: Edit, Target: base, Offer: o.Offer, First: o.First, Tries: max(o.Tries, 1),
		}})
	})
}

// Park gives a message up, with the reason. It stays among the parked
// messages, and its key stays used. The error is ErrNotPending if it is not in
// the outbox.
func (s *Store) Park(seq uint64, why string) error {
	return s.mark(func(tx Tx) error {
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

// Drop takes a message out of the outbox because it is out of date: nobody
// needs it any more. The key of a Post is free again. The error is
// ErrNotPending if the message is not in the outbox.
func (s *Store) Drop(seq uint64) error {
	return s.mark(func(tx Tx) error {
		o, err := getPending(tx, seq)
		if err != nil {
			return err
		}
		if o.Kind == Post {
			if err := tx.Delete(bucketPostIDs, []byte(o.Key)); err != nil {
				return err
			}
		}
		return leave(tx, o)
	})
}

// Requeue puts a parked Post back into the outbox, under its key and a new
// number, as if it had never been tried. The error is ErrNotParked if no
// message of that number is parked, and ErrStaleEdit for an Edit.
func (s *Store) Requeue(seq uint64) error {
	return s.mark(func(tx Tx) error {
		value := tx.Get(bucketParked, number(seq))
		if value == nil {
			return fmt.Errorf("outbox number %d: %w", seq, ErrNotParked)
		}
		p, err := readOut(tx, number(seq), value)
		if err != nil {
			return err
		}
		if p.Kind == Edit {
			return fmt.Errorf("outbox number %d: %w", seq, ErrStaleEdit)
		}
		last, err := lastOut(tx)
		if err != nil {
			return err
		}
		o := p.Out
		o.Seq, o.First, o.Tries = last+1, time.Time{}, 0
		return errors.Join(
			tx.Delete(bucketParked, number(seq)),
			putOut(tx, bucketOut, Parked{Out: o}),
			tx.Put(bucketMeta, keyLastOut, number(o.Seq)),
		)
	})
}
