package store

import (
	"encoding/binary"
	"fmt"
	"unicode/utf8"
)

// maxName is how many bytes a name in a key may have.
const maxName = 1024

// checkName refuses a name that cannot be part of a key. Keys join names with
// NUL, so a name must have none.
func checkName(what, name string) error {
	why := ""
	switch {
	case name == "":
		why = "is empty"
	case len(name) > maxName:
		name, why = name[:16]+"…", fmt.Sprintf("is longer than %d bytes", maxName)
	case !utf8.ValidString(name):
		why = "is not UTF-8"
	default:
		for _, c := range name {
			if c == 0 {
				why = "has a NUL in it"
			}
		}
	}
	if why != "" {
		return fmt.Errorf("%s %q cannot be kept: it %s", what, name, why)
	}
	return nil
}

// number makes a key that sorts as the number does.
func number(n uint64) []byte { return binary.BigEndian.AppendUint64(nil, n) }

func toNumber(key []byte) (uint64, error) {
	if len(key) != 8 {
		return 0, fmt.Errorf("%q is not the key of a number", key)
	}
	return binary.BigEndian.Uint64(key), nil
}

// under makes a key below a name, and within returns the range of all of them.
func under(name string, key []byte) []byte {
	return append(append([]byte(name), 0), key...)
}

func within(name string) (from, to []byte) {
	return append([]byte(name), 0), append([]byte(name), 1)
}
