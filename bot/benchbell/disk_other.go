//go:build !linux && !darwin && !freebsd

package main

// freeSpace is not known on this system.
func freeSpace(string) (bytes uint64, ok bool) { return 0, false }
