package main

import (
	"context"
	"flag"
	"fmt"
	"strconv"

	"benchbell/store"
)

func verifyCmd(_ context.Context, t terminal, flags *flag.FlagSet, args []string) (err error) {
	cfg, noted, err := configured(flags, args)
	if err != nil {
		return err
	}
	st, err := cfg.open()
	if err != nil {
		return err
	}
	defer func() { err = errorOr(err, st.Close()) }()
	var head store.Hash
	var n uint64
	switch len(noted) {
	case 0:
		head, n, err = st.Verify()
	case 2:
		head, n, err = verifyAgainst(st, noted[0], noted[1])
	default:
		return fmt.Errorf("verify takes nothing, or the number and the hash of a seal: %w", errUsage)
	}
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(t.out, "The journal is whole: %d entries, head %v.\n", n, head)
	return err
}

// verifyAgainst verifies the journal against a seal noted elsewhere.
func verifyAgainst(st *store.Store, entry, hash string) (store.Hash, uint64, error) {
	n, err := strconv.ParseUint(entry, 10, 64)
	if err != nil {
		return store.Hash{}, 0, fmt.Errorf("%q is not the number of an entry: %w", entry, errUsage)
	}
	noted, err := store.ParseHash(hash)
	if err != nil {
		return store.Hash{}, 0, fmt.Errorf("%q is not the hash of a seal: %w", hash, errUsage)
	}
	return st.VerifyAgainst(n, noted)
}
