// Package ingest reads the measurements of a campaign, pairs open with closed
// readings, and hands over one run at a time as Arrow records.
//
// The way of the data: paths are expanded to files; a first pass over all files
// notes where the rows of each run stand; then each run is read, its readings are
// brought to one unit and paired, and it is visited. Rows may therefore stand in
// any order and in any file. Memory holds a few runs and the list of places.
//
// Nothing is guessed. What cannot be read is a Problem with file, line and column,
// what stands there, what is wrong and what would mend it. Every line of data is
// counted as used, skipped or blank.
//
// Traces and network files, one sweep each, say nothing of boxes and closings: a
// runs.csv in their folder does, and how each is written. It is read before all
// else (listing.go); the files that it lists are then tables like any other
// (listed.go), and Propose writes one to be filled in.
//
// The formats are packages below this one; formats.go lists them. They know
// columns and cells, this package alone knows what a pair is.
package ingest
