// Package records keeps what was inspected, by whom, when and with which
// answer: in a SQLite file on the bench, or in a PostgreSQL database that several
// benches share.
//
// # What can be relied on
//
// An inspection is answered (its number returned by [Store.Add]) only after it
// was written to disk as a whole. Nothing is overwritten: a correction, a
// withdrawal, its taking back and an overruling are rows of their own, beside the first one. The
// database refuses to change or delete them; only a picture's bytes may be
// forgotten.
//
// # The chain of events
//
// Whatever is recorded is an event: a line of JSON. Each carries the SHA-256 of
// the one before:
//
//	hash = SHA-256(hash of the one before, newline, the event's JSON), hexadecimal
//
// where the first has nothing before its newline. An event of an inspection holds
// what identifies it, and the SHA-256 of its result, pictures, limits, scales and
// station file, so that a change to any of these shows. [Store.Check] walks all of
// it; [CheckTrail] walks an exported trail without the database. Whoever can write
// the database can also make a new chain, or cut off its end: an exported trail that is kept elsewhere
// tells this ([Store.Compare]).
//
// # The files here
//
//	records.go    the nouns
//	store.go      opening, transactions; sqlite.go and postgres.go: what differs
//	migrate.go    the numbered migrations in migrations/
//	add.go        a new inspection; notes.go: withdrawals and overrulings
//	chain.go      events
//	journal.go    what is known by its events alone: lots
//	read.go       getting and finding; brief.go: the same over thousands
//	check.go      checks; trail.go: the exported trail
//	export.go     CSV and JSON lines
//	forget.go     forgetting pictures
//	labels.go     what people say that findings are; models.go: what was learned from it
//	backup.go     copies of the database, and back
//
// A SQLite file wants a local disk: its write-ahead log does not work over a
// network file system.
package records
