// Package store is a station's memory: the journal of all that happened, what
// can be looked up by it, and what is still to be said. It knows how to keep
// things, and no rules of the trade.
//
// Everything that an event changes is committed in one transaction, by
// [Store.Commit]: the event's id, the journal's entries, the suits' rows, the
// notices given, the wake times, what goes out, and how far the channel has
// been read. All of it is on disk when Commit returns, or none of it. Delivery
// then works off the outbox and marks what it did, in transactions of its own.
//
// # Buckets and keys
//
// Numbers in keys are 8 bytes, big-endian, so that they sort; "+" in this
// table is one after the other, "|" is with a NUL between. An index has
// nothing for its values.
//
//	benchbell   "schema"                  version of all this, in digits
//	            "head"                    number + hash of the last entry
//	            "last out"                number last given in the outbox
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
//
//	out         number                    record
//	parked      number                    record
//	untried     post key                  number of its edit that was not tried
//	post ids    post key                  post id; nothing until delivered
//	post keys   post id                   post key
//
// What stands from "by suit" to "tags" follows from the journal, and from
// "barred" to "counts" from the rows: [Store.Check] derives it once more and
// compares.
//
// # Records
//
// A record is one line of JSON: fields in a fixed order, those that are zero
// left out. Moments are RFC 3339 in UTC, dates and periods as ISO 8601 writes
// them, durations in nanoseconds (…_ns), pressures in nanopascals (…_npa) or
// as the digits and the unit that somebody wrote. Named values stand by codes
// of the disk's own. An entry is
//
//	{"v":1,"seq":17,"at":…,"by":{"id":…,"name":…},"event":…,"suit":…,"run":…,"kind":"taken","fact":{…}}
//
// and testdata has one of each kind. Its hash is the SHA-256 of the hash of
// the entry before, 32 zero bytes for the first, and the bytes of the record
// just as they stand: see [Store.Verify].
//
// # What may change
//
// An entry is never written anew, since its hash covers its bytes; all that
// follows allows for entries of every age.
//
//   - A field may be added to a record if to leave it out means what was meant
//     before. A program that does not know the field refuses the record.
//   - A field that goes, or means something else, makes a new version of the
//     entry ("v") with code to read the old one, which stays for good.
//   - The names of fields and kinds, and the codes, never change, and are not
//     used again.
//   - Any other change, or one to core.NameKey, makes a new schema, with a
//     migration from the one before. A file of an earlier schema is brought up
//     to date when it is opened, in one transaction, and kept as it was beside
//     it; one of a later schema is refused.
package store
