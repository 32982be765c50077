// Package store keeps a station's data: the journal of everything that
// happened, indexes of it, and the outbox of messages still to be delivered. It
// stores and finds data, and knows no rules of the trade.
//
// There are a few types to know first:
//
//   - [Store] is the whole of it. [Create] makes one in a file, [Open] opens it;
//     [New] makes one of any [Engine], which is a sorted key/value store with
//     transactions. The file is one of bbolt, and bolt.go alone knows it.
//   - [Batch] is everything that one event changes: the event's id, entries of
//     the journal, rows of suits, notices, wake times, messages, accounts, and
//     how far the channel has been read. [Store.Commit] writes all of it in one
//     transaction: after a crash all of it is on disk, or none.
//   - [Out] is a message in the outbox: a post, or an edit of one.
//
// To begin reading, read commit.go, then outbox.go; an entry's way to disk and
// back is journal.go, entry.go and facts.go.
//
// # Delivery
//
// A committed message is pending until it is delivered or parked. Whoever
// delivers calls [Store.Tried] before each attempt, and [Store.Delivered] or
// [Store.Park] after it; [Store.Requeue] sends a parked post again. Each of
// them waits for the disk, and several goroutines that call them at the same
// time share one transaction.
//
// A post has a key, by which entries, edits and threads name it, and the chat
// server's id once it is delivered. If it disappears from the chat, it is posted
// anew as a copy, under a key of its own from [Store.NextCopy]:
//
//	R-0001/card    the base key, which means the newest copy that is delivered
//	R-0001/card~2  the first copy made of it
//
// # Errors
//
// An error of a method that writes means that nothing has changed, unless it is
// [ErrInDoubt]: the engine then failed while it wrote, and only reading tells
// whether the change is there. To make the change again is safe: it is refused
// with [ErrSeen] or [ErrNotPending] if it was there already.
//
// A damaged file gives errors that name it and say to put a backup in its
// place. It never makes the program panic. After damage is met in a
// transaction that writes, the store can only be read. [Store.Check] examines
// the whole file; a year of 50,000 entries takes it about a second.
//
// # Buckets and keys
//
// Numbers in keys are 8 bytes, big-endian, so that they sort. In this table "+"
// joins two parts of a key, and "|" joins them with a NUL between. The values of
// an index are empty.
//
//	benchbell   "schema"                  version of all this, in digits
//	            "head"                    number + hash of the last entry
//	            "last out"                last number given in the outbox
//	            "rows made with"          policy by which all rows were made
//
//	journal     entry                     hash (32 bytes) + record
//	by suit     suit tag | entry          index
//	by run      run + entry               index
//	open runs   run                       index: opened and not closed
//	numbers     "last run"                highest run opened
//	manometers  manometer id              entry that registered it last
//	last used   user name                 record: which manometer, when
//	tags        core.NameKey(suit tag)    suit tag
//
//	rows        suit tag                  record
//	barred      suit tag                  index: what Barred yields
//	due         date | suit tag           index: what DueBy yields
//	ending      date | suit tag           index: what EndingBy yields
//	counts      code of the kind          how many rows have it, in digits
//
//	seen        event id                  moment
//	notices     notice key                moment when first given
//	wakes       wake key                  moment
//	marks       channel id                record
//	accounts    user name                 account id
//
//	out         number                    record
//	parked      number                    record
//	untried     base post key             number of its edit that was not tried
//	post ids    post key                  post id; empty until delivered
//	post keys   post id                   post key
//
// The buckets from "by suit" to "tags" follow from the journal, and those from
// "barred" to "counts" from the rows: [Store.Check] derives them again and
// compares.
//
// # Records
//
// A record is one line of JSON with the fields in a fixed order and without
// those that are zero. Moments are RFC 3339 in UTC, dates and periods are ISO
// 8601, durations are nanoseconds (…_ns), and pressures are nanopascals (…_npa)
// or the digits and the unit that somebody wrote. Named values have codes of
// their own, in codes.go. An entry is
//
//	{"v":1,"seq":17,"at":…,"by":{"id":…,"name":…},"event":…,"suit":…,"run":…,"kind":"taken","fact":{…}}
//
// and testdata has one of each kind. Its hash is the SHA-256 of the hash of the
// entry before (32 zero bytes for the first entry) followed by the bytes of the
// record: see [Store.Verify].
//
// # What may change
//
// An entry is never rewritten, since its hash covers its bytes. So a program
// must read entries of every age:
//
//   - A field may be added to a record if a record without it means what it
//     meant before. A program that does not know the field refuses the record.
//     A bucket may be added in the same way; an older program passes over it.
//   - A field that is removed or changes its meaning makes a new version of the
//     entry ("v"). The code that reads the old version stays for good.
//   - The names of fields and kinds, and the codes, never change, and are never
//     used for something else.
//   - Any other change, or one to core.NameKey, makes a new schema, with a
//     migration from the one before. A file of an earlier schema is migrated in
//     one transaction when it is opened, after a copy was made beside it. A
//     file of a later schema is refused.
package store
