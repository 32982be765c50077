// Package register reads and writes the CSV files of a station: its suits, its
// manometers, its tests from paper, and the journal as a table.
//
// [Read], [ReadFS], [ReadFiles] and [ReadContents] make a [Register] of files, whole
// or not at all; whatever is wrong is a [Fault] with its row and column, for the
// person who filled the file in. [Known] is what the files are read against.
// [Register.Entries] makes journal entries of it.
//
// The columns of each kind of file are a table in columns.go, used in both
// directions: [WriteSuits], [WriteManometers] and [WriteTests] write what is read
// here. rows.go walks that table, sheet.go cuts a file into cells, and journal.go
// words every kind of fact for [WriteJournal].
package register
