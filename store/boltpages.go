package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"os"
	"slices"
)

// checkPages examines a file of bbolt as it stands on disk: every page that is
// in use can be reached once, holds what a page of its kind must, with its keys
// in order, and every other page is on the list of the free ones. It reads the
// file itself, page by page. bbolt's own examination runs in a goroutine of
// bbolt's, where nothing can stop it from ending the program at a page that is
// damaged badly.
//
// Nobody may write meanwhile. All numbers in the file are in the order of
// bytes of the machine that wrote it, which is this one.
func checkPages(f *os.File) error {
	c := pageCheck{file: f, uses: make(map[uint64]string)}
	meta, err := c.meta()
	if err != nil {
		return fmt.Errorf("%s: %w (%w)", f.Name(), errDamaged, err)
	}
	c.take(0, 2, "a meta page")
	c.tree(meta.root, nil, nil)
	c.free(meta.free)
	if len(c.wrong) == 0 && meta.free != noFreelist {
		c.leftOver()
	}
	return c.result()
}

// checkSafe finds what [bolt.guard] is no help against: a file that ends too
// early, as a copy does that was broken off; a damaged list of free pages, which
// makes bbolt panic while it opens the file and leave it locked; and pages used
// twice, perhaps in a circle, in which bbolt would go round until the program
// ends. Other damage need not keep anybody from what is sound.
func checkSafe(f *os.File, size int64) error {
	c := pageCheck{file: f, uses: make(map[uint64]string)}
	meta, err := c.meta()
	if err != nil {
		return fmt.Errorf("%s: %w (%w)", f.Name(), errDamaged, err)
	}
	if c.count > uint64(size)/c.size {
		return errShort
	}
	c.free(meta.free)
	if len(c.wrong) == 0 {
		c.tree(meta.root, nil, nil)
		if !c.twice {
			return nil
		}
	}
	return c.result()
}

// result returns what was found wrong.
func (c *pageCheck) result() error {
	if len(c.wrong) == 0 {
		return nil
	}
	const most = 20
	if len(c.wrong) > most {
		c.wrong = append(c.wrong[:most], fmt.Errorf("and %d more", len(c.wrong)-most))
	}
	return fmt.Errorf("%s: %w\n%w", c.file.Name(), errDamaged, errors.Join(c.wrong...))
}

// What bbolt writes: the header of a page, its flags, and the sizes of things.
const (
	pageHeader   = 16 // id, flags, count, overflow
	leafElement  = 16 // flags, position, size of the key and of the value
	branchEntry  = 16 // position, size of the key, page
	bucketHeader = 16 // root page, sequence
	metaSize     = 64

	branchPage   = 0x01
	leafPage     = 0x02
	metaPage     = 0x04
	freePage     = 0x10
	bucketInLeaf = 0x01

	boltMagic   = 0xED0CDAED
	boltVersion = 2
	noFreelist  = ^uint64(0)
)

type pageCheck struct {
	file  *os.File
	size  uint64 // of a page
	count uint64 // pages, in use or free
	uses  map[uint64]string
	twice bool // a page is used twice
	wrong []error
}

type boltMeta struct{ root, free, count, txid uint64 }

var order = binary.NativeEndian

func (c *pageCheck) note(page uint64, format string, args ...any) {
	c.wrong = append(c.wrong, fmt.Errorf("page %d: %s", page, fmt.Sprintf(format, args...)))
}

// meta reads the newer of the two meta pages that is whole. The second one can
// be found only if the first says how large a page is, or by trying.
func (c *pageCheck) meta() (newest boltMeta, err error) {
	found := false
	for _, at := range []int64{0, 1 << 10, 1 << 11, 1 << 12, 1 << 13, 1 << 14, 1 << 15, 1 << 16} {
		buf := make([]byte, pageHeader+metaSize)
		if _, err := c.file.ReadAt(buf, at); err != nil {
			break
		}
		m := buf[pageHeader:]
		sum := fnv.New64a()
		_, _ = sum.Write(m[:56])
		if order.Uint16(buf[8:])&metaPage == 0 || order.Uint32(m) != boltMagic || order.Uint32(m[4:]) != boltVersion || order.Uint64(m[56:]) != sum.Sum64() {
			continue
		}
		size := uint64(order.Uint32(m[8:]))
		if at != 0 && uint64(at) != size {
			continue
		}
		meta := boltMeta{root: order.Uint64(m[16:]), free: order.Uint64(m[32:]), count: order.Uint64(m[40:]), txid: order.Uint64(m[48:])}
		if !found || meta.txid > newest.txid {
			newest, c.size, found = meta, size, true
		}
	}
	if !found {
		return boltMeta{}, errors.New("it has no whole meta page")
	}
	c.count = newest.count
	return newest, nil
}

// take notes what pages are used for, and reports whether nothing else uses
// them.
func (c *pageCheck) take(first, n uint64, use string) bool {
	for id := first; id < first+n; id++ {
		if other, ok := c.uses[id]; ok {
			c.note(id, "it is %s and %s", other, use)
			c.twice = true
			return false
		}
		c.uses[id] = use
	}
	return true
}

// read reads a page with those that it runs over into, or nil.
func (c *pageCheck) read(id uint64, use string) []byte {
	if id < 2 || id >= c.count {
		c.note(id, "it is named as %s, and is outside of the file", use)
		return nil
	}
	head := make([]byte, pageHeader)
	if _, err := c.file.ReadAt(head, int64(id*c.size)); err != nil {
		c.note(id, "it cannot be read: %v", err)
		return nil
	}
	over := uint64(order.Uint32(head[12:]))
	if got := order.Uint64(head); got != id {
		c.note(id, "it says that it is page %d", got)
		return nil
	}
	if over >= c.count-id {
		c.note(id, "it reaches beyond the end of the file")
		return nil
	}
	if !c.take(id, over+1, use) {
		return nil
	}
	data := make([]byte, (over+1)*c.size)
	if _, err := c.file.ReadAt(data, int64(id*c.size)); err != nil && !errors.Is(err, io.EOF) {
		c.note(id, "it cannot be read: %v", err)
		return nil
	}
	return data
}

// tree examines a page of a bucket and those below it. All its keys are from
// "from" on and before "to", where they are not nil. A page that was examined
// before is not examined again, so this comes to an end.
func (c *pageCheck) tree(id uint64, from, to []byte) {
	data := c.read(id, "in a bucket")
	if data == nil {
		return
	}
	switch flags := order.Uint16(data[8:]); flags {
	case branchPage:
		c.branch(id, data, from, to)
	case leafPage:
		c.leaf(id, data, from, to)
	default:
		c.note(id, "its kind %#x is not that of a page in a bucket", flags)
	}
}

func (c *pageCheck) branch(id uint64, data, from, to []byte) {
	n := int(order.Uint16(data[10:]))
	if n == 0 {
		c.note(id, "it is empty")
	}
	var keys [][]byte
	var below []uint64
	for i := range n {
		at := pageHeader + i*branchEntry
		if at+branchEntry > len(data) {
			c.note(id, "it is too short for what it should hold")
			return
		}
		e := data[at:]
		key, ok := piece(data, at, order.Uint32(e), order.Uint32(e[4:]), 0)
		if !ok {
			c.note(id, "key %d is outside of it", i)
			return
		}
		keys, below = append(keys, key), append(below, order.Uint64(e[8:]))
	}
	c.inOrder(id, keys, from, to)
	for i, page := range below {
		end := to
		if i+1 < n {
			end = keys[i+1]
		}
		c.tree(page, keys[i], end)
	}
}

// leaf examines a page with values, or what is in a bucket too small to have a
// page of its own.
func (c *pageCheck) leaf(id uint64, data, from, to []byte) {
	var keys [][]byte
	for i := range int(order.Uint16(data[10:])) {
		at := pageHeader + i*leafElement
		if at+leafElement > len(data) {
			c.note(id, "it is too short for what it should hold")
			return
		}
		e := data[at:]
		flags, size := order.Uint32(e), order.Uint32(e[8:])
		key, ok := piece(data, at, order.Uint32(e[4:]), size, 0)
		value, ok2 := piece(data, at, order.Uint32(e[4:]), order.Uint32(e[12:]), size)
		switch {
		case !ok || !ok2:
			c.note(id, "key %d or its value is outside of it", i)
			return
		case flags == bucketInLeaf:
			c.bucket(id, key, value)
		case flags != 0:
			c.note(id, "key %d is of the unknown kind %#x", i, flags)
		}
		keys = append(keys, key)
	}
	c.inOrder(id, keys, from, to)
}

func (c *pageCheck) bucket(id uint64, name, value []byte) {
	if len(value) < bucketHeader {
		c.note(id, "bucket %q is too short", name)
		return
	}
	if root := order.Uint64(value); root != 0 {
		c.tree(root, nil, nil)
		return
	}
	inline := value[bucketHeader:]
	if len(inline) < pageHeader || order.Uint16(inline[8:]) != leafPage {
		c.note(id, "what stands in bucket %q is no page", name)
		return
	}
	c.leaf(id, inline, nil, nil)
}

// piece returns some bytes of a page, counted from the element that names them.
func piece(data []byte, element int, pos, size, behind uint32) ([]byte, bool) {
	from := uint64(element) + uint64(pos) + uint64(behind)
	to := from + uint64(size)
	if to > uint64(len(data)) {
		return nil, false
	}
	return data[from:to], true
}

func (c *pageCheck) inOrder(id uint64, keys [][]byte, from, to []byte) {
	if !slices.IsSortedFunc(keys, bytes.Compare) {
		c.note(id, "its keys are not in order")
		return
	}
	for i, key := range keys {
		if len(key) == 0 || i > 0 && bytes.Equal(key, keys[i-1]) {
			c.note(id, "key %d is empty, or there twice", i)
		}
	}
	if n := len(keys); n > 0 && (from != nil && bytes.Compare(keys[0], from) < 0 || to != nil && bytes.Compare(keys[n-1], to) >= 0) {
		c.note(id, "its keys belong to another page")
	}
}

// free examines the list of the free pages.
func (c *pageCheck) free(list uint64) {
	if list == noFreelist {
		return
	}
	data := c.read(list, "the list of the free pages")
	if data == nil {
		return
	}
	if flags := order.Uint16(data[8:]); flags != freePage {
		c.note(list, "its kind %#x is not that of the list of the free pages", flags)
		return
	}
	n, ids := uint64(order.Uint16(data[10:])), data[pageHeader:]
	if n == 0xFFFF { // there are too many for the header
		n, ids = order.Uint64(ids), ids[8:]
	}
	if n > uint64(len(ids))/8 {
		c.note(list, "it is too short for what it should hold")
		return
	}
	for i := range n {
		id := order.Uint64(ids[8*i:])
		if id < 2 || id >= c.count {
			c.note(id, "it is free, and is outside of the file")
			continue
		}
		c.take(id, 1, "free")
	}
}

// leftOver finds pages that are neither in use nor free.
func (c *pageCheck) leftOver() {
	for id := range c.count {
		if _, ok := c.uses[id]; !ok {
			c.note(id, "it is neither used nor free")
		}
	}
}
