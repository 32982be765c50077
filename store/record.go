package store

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"
)

// marshal encodes a record: JSON in one line, the fields in their order. Bytes
// that are not UTF-8 become U+FFFD.
func marshal(record any) ([]byte, error) {
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(record); err != nil {
		return nil, err
	}
	return plainReplacement(bytes.TrimSuffix(buf.Bytes(), []byte("\n"))), nil
}

// plainReplacement replaces the escape \ufffd, which the encoder writes only for
// bytes that are not UTF-8, by the character itself. Without it, a record that is
// decoded and encoded again would not be the same to the byte.
func plainReplacement(record []byte) []byte {
	escape := []byte(`\ufffd`)
	if !bytes.Contains(record, escape) {
		return record
	}
	var plain []byte
	for len(record) > 0 {
		switch {
		case bytes.HasPrefix(record, escape):
			plain = append(plain, "\ufffd"...)
			record = record[len(escape):]
		case record[0] == '\\':
			plain = append(plain, record[:2]...)
			record = record[2:]
		default:
			plain = append(plain, record[0])
			record = record[1:]
		}
	}
	return plain
}

// unmarshal decodes a record. An unknown field is an error, since ignoring the
// field would lose it.
func unmarshal(data []byte, record any) error {
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(record); err != nil {
		return err
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return errors.New("there is more behind the end of the record")
	}
	return nil
}

// moment is an instant in a record: RFC 3339 in UTC, to the nanosecond.
type moment time.Time

// IsZero reports whether there is no instant.
func (m moment) IsZero() bool { return time.Time(m).IsZero() }

// MarshalText fails on a year before 0 or after 9999.
func (m moment) MarshalText() ([]byte, error) { return time.Time(m).UTC().MarshalText() }

// UnmarshalText reads what MarshalText wrote.
func (m *moment) UnmarshalText(text []byte) error {
	var t time.Time
	if err := t.UnmarshalText(text); err != nil {
		return fmt.Errorf("moment %q: %w", text, err)
	}
	*m = moment(t.UTC())
	return nil
}

// each makes a list of records, or reads one; none stays none.
func each[A, B any](list []A, convert func(A) B) []B {
	if len(list) == 0 {
		return nil
	}
	converted := make([]B, len(list))
	for i, a := range list {
		converted[i] = convert(a)
	}
	return converted
}
