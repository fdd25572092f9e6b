package ingest

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"sealbound/ingest/reading"
	"sealbound/ingest/trace"
)

// largestStray is up to which size a refused file is looked at for being a trace.
const largestStray = 1 << 20

// looksTrace tells whether a file that is not in the long format looks like a
// trace, and not like a damaged table of readings.
func looksTrace(src io.ReaderAt, size int64) bool {
	if size > largestStray {
		return false
	}
	text := make([]byte, size)
	if n, err := src.ReadAt(text, 0); n < len(text) || err != nil && err != io.EOF {
		return false
	}
	lower := bytes.ToLower(text[:min(len(text), headEnd)])
	lower = bytes.ReplaceAll(lower, []byte{0}, nil) // readings may be UTF-16, too, which is told of them
	for _, name := range []string{"freq_hz", "freq_khz", "freq_mhz", "freq_ghz"} {
		if bytes.Contains(lower, []byte(name)) {
			return false
		}
	}
	_, reasons := trace.Propose(text)
	return noTrace(text, reasons) == ""
}

// tellStrays points to the table that traces need, once for each folder.
func (r *reader) tellStrays() {
	folders := map[string][]string{}
	for _, p := range r.strays {
		folders[filepath.Dir(p)] = append(folders[filepath.Dir(p)], p)
	}
	for dir, files := range folders { // the order is that of the problems
		list := filepath.Join(dir, trace.RunsName)
		what, mend := "is not there", "list in it what is a trace; check --propose writes one to be filled in"
		if _, err := os.Stat(list); err == nil {
			what, mend = "was not asked for", "to read the traces that it lists, give it or its folder as the path"
		}
		looks := fmt.Sprintf("%q beside it looks like a trace of an analyser", filepath.Base(files[0]))
		if n := len(files); n > 1 {
			looks = fmt.Sprintf("%d files beside it look like traces of an analyser, the first being %q", n, filepath.Base(files[0]))
		}
		r.problems.Add(reading.Problem{File: list, What: what + ", and " + looks, Mend: mend})
	}
}
