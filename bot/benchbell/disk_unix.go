//go:build linux || darwin || freebsd

package main

import "syscall"

// freeSpace returns how many bytes this user may still write to the file system
// that a folder is on.
func freeSpace(folder string) (bytes uint64, ok bool) {
	var fs syscall.Statfs_t
	if err := syscall.Statfs(folder, &fs); err != nil {
		return 0, false
	}
	return uint64(fs.Bavail) * uint64(fs.Bsize), true
}
