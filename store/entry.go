package store

import (
	"encoding/json"
	"fmt"
	"reflect"
	"time"

	"benchbell/core"
)

// entryVersion is the version of the entries written now. Entries are never
// written anew, so what reads an older version stays.
const entryVersion = 1

// entryRecord is an entry as it stands in the journal.
type entryRecord struct {
	V     int             `json:"v"`
	Seq   uint64          `json:"seq"`
	At    moment          `json:"at,omitzero"`
	By    personRecord    `json:"by,omitzero"`
	Event string          `json:"event,omitempty"`
	Suit  string          `json:"suit,omitempty"`
	Run   core.RunID      `json:"run,omitempty"`
	Kind  string          `json:"kind"`
	Fact  json.RawMessage `json:"fact"`
}

// An EntryError is something wrong with one entry of the journal.
type EntryError struct {
	Seq uint64
	Err error
}

func (e *EntryError) Error() string { return fmt.Sprintf("journal entry %d: %v", e.Seq, e.Err) }

func (e *EntryError) Unwrap() error { return e.Err }

func encodeEntry(e core.Entry) ([]byte, error) {
	for _, k := range kinds {
		if k.fact != reflect.TypeOf(e.Fact) {
			continue
		}
		fact, err := marshal(k.record(e.Fact))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", k.name, err)
		}
		return marshal(entryRecord{
			V: entryVersion, Seq: e.Seq, At: moment(e.At), By: personRecord(e.By), Event: e.Event,
			Suit: e.Suit, Run: e.Run, Kind: k.name, Fact: fact,
		})
	}
	return nil, fmt.Errorf("there is no record for a fact of type %T: this program cannot keep it", e.Fact)
}

func decodeEntry(data []byte) (core.Entry, error) {
	var r entryRecord
	err := unmarshal(data, &r)
	switch {
	case r.V > entryVersion: // the rest cannot be expected to make sense
		return core.Entry{}, fmt.Errorf("it is of version %d, and this program reads up to version %d: %s", r.V, entryVersion, useNewer)
	case err != nil:
		return core.Entry{}, err
	case r.V < 1:
		return core.Entry{}, fmt.Errorf("it is of version %d, and there never was one before 1", r.V)
	}
	for _, k := range kinds {
		if k.name != r.Kind {
			continue
		}
		fact, err := k.read(r.Fact)
		if err != nil {
			return core.Entry{}, fmt.Errorf("%s: %w", k.name, err)
		}
		return core.Entry{
			Seq: r.Seq, At: time.Time(r.At), By: core.Person(r.By), Event: r.Event,
			Suit: r.Suit, Run: r.Run, Fact: fact,
		}, nil
	}
	return core.Entry{}, fmt.Errorf("it has a fact of the kind %q, not known to this program: %s", r.Kind, useNewer)
}

// useNewer is what to do about records from the future.
const useNewer = "use the benchbell that wrote it, or a newer one"
