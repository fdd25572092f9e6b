package ingest

import (
	"bytes"
	"io"
	"os"
	"slices"

	"sealbound/ingest/columnar"
	"sealbound/ingest/longcsv"
	"sealbound/ingest/packed"
	"sealbound/ingest/reading"
	"sealbound/ingest/reduced"
	"sealbound/ingest/sidetable"
	"sealbound/ingest/touchstone"
	"sealbound/ingest/trace"
)

// A format is one kind of file of readings. This file is the only place that
// lists them.
type format struct {
	name    string
	endings []string // lower case; .gz may follow them
	open    func(path string, file int32, src io.ReaderAt, size int64) (reading.Table, []reading.Problem, error)
	// count accounts for the rows of a file that open refused
	count func(path string, src io.ReaderAt, size int64) (reading.Count, error)
}

// formats: the first is what a file of any other ending is taken for. Files that
// a runs.csv lists are traces or network files, whatever they would be otherwise:
// openListed opens those.
var formats = []format{
	{name: "long CSV", endings: []string{".csv"}, open: longcsv.Open, count: countLines},
	{name: "Parquet", endings: []string{".parquet"}, open: packed.Open(columnar.OpenParquet), count: countNone},
	{name: "Arrow stream", endings: []string{".arrow"}, open: packed.Open(columnar.OpenStream), count: countNone},
	{name: networkFormat, endings: []string{".s1p", ".s2p", ".s3p", ".s4p", ".ts"}, open: openUnlisted, count: countNetwork},
}

// formatOf chooses by the ending.
func formatOf(path string) format {
	for _, f := range formats {
		if slices.Contains(f.endings, ending(path)) {
			return f
		}
	}
	return formats[0]
}

// formatFor chooses by how the file begins where that is plain, else by the ending:
// a packed file is known also on standard input, a table of closings and a result by their headers.
func formatFor(path string, src io.ReaderAt, size int64) (format, error) {
	head := make([]byte, min(size, 8))
	if _, err := src.ReadAt(head, 0); err != nil && err != io.EOF {
		return format{}, err
	}
	if e := packed.Magic(head); e != "" {
		path = e
	}
	f := formatOf(path)
	if f.name != formats[0].name || size == 0 {
		return f, nil
	}
	names, err := reduced.Header(src, size)
	if command := resultOf(names); command != "" {
		f = format{name: "result", open: refuseResult(command), count: countLines}
	} else if reduced.Is(names) {
		f = format{name: "closings", open: reduced.OpenCSV, count: countLines}
	}
	return f, err
}

// wanted reports whether a file in a folder is read. Files of other kinds than
// networks end in .ts too, so those are looked at.
func wanted(path string) bool {
	for _, f := range formats {
		if slices.Contains(f.endings, ending(path)) {
			return ending(path) != ".ts" || beginsAsNetwork(path)
		}
	}
	return false
}

// endings lists what is read in a folder.
func endings() []string {
	var all []string
	for _, f := range formats {
		all = append(all, f.endings...)
	}
	return all
}

// sideTable names the side table that a path leads to, empty for readings.
func sideTable(path string) string { return sidetable.Named(path) }

const networkFormat = "network"

// openUnlisted refuses a network file that no runs.csv lists.
func openUnlisted(path string, _ int32, _ io.ReaderAt, _ int64) (reading.Table, []reading.Problem, error) {
	return nil, []reading.Problem{{File: path, What: "a network file does not say what box and closing it is of, and no " + trace.RunsName + " lists it",
		Mend: "give it a row in a " + trace.RunsName + " beside it, such as check --propose writes"}}, nil
}

func countLines(_ string, src io.ReaderAt, size int64) (reading.Count, error) {
	return longcsv.CountRows(src, size)
}

// countNone: a packed file that is refused has no rows that could be told.
func countNone(string, io.ReaderAt, int64) (reading.Count, error) { return reading.Count{}, nil }

// countNetwork accounts for the rows of a network file, as where one is listed.
func countNetwork(path string, src io.ReaderAt, size int64) (reading.Count, error) {
	var ignored reading.Problems
	f, count, err := touchstone.Parse(io.NewSectionReader(src, 0, size), withoutGzip(path), &ignored)
	if f != nil {
		count = rowsOf(f, count)
		count.Refused = count.Rows
	}
	return count, err
}

// rowsOf counts a data set as one row, however many lines it takes, where the count is
// of lines.
func rowsOf(f *touchstone.File, lines reading.Count) reading.Count {
	return reading.Count{Rows: len(f.Rows) + lines.Refused, Refused: lines.Refused}
}

// looksNetwork tells a network file by its first word: a comment, the option line
// or a keyword.
func looksNetwork(text []byte) bool {
	text = bytes.TrimLeft(bytes.TrimPrefix(text, []byte("\xef\xbb\xbf")), " \t\r\n")
	return len(text) > 0 && bytes.IndexByte([]byte("[!#"), text[0]) >= 0
}

// beginsAsNetwork looks at the beginning of a file; one that cannot be read is left
// for reading to tell.
func beginsAsNetwork(path string) bool {
	if withoutGzip(path) != path {
		return true
	}
	if info, err := os.Stat(path); err != nil || !info.Mode().IsRegular() {
		return err != nil // a pipe would keep us waiting
	}
	f, err := os.Open(path)
	if err != nil {
		return true
	}
	defer f.Close()
	begin := make([]byte, 512)
	n, _ := io.ReadFull(f, begin)
	return looksNetwork(begin[:n])
}
