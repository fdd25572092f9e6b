package ingest

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
	"sealbound/ingest/sidetable"
	"sealbound/ingest/trace"
)

// A listing is a runs.csv: it says of each trace file in its folder, or below,
// what the trace is a reading of.
type listing struct {
	path, dir string
	file      int32       // its index among the inputs
	runs      *trace.Runs // nil where the table cannot be used
	input     Input
}

// isListName tells whether a file may be a listing by its name.
func isListName(path string) bool {
	return strings.EqualFold(filepath.Base(withoutGzip(path)), trace.RunsName)
}

// headEnd is how far into a file the names of its columns are looked for.
const headEnd = 1 << 16

// columnNames reads the first line that is not blank, as names in lower case,
// whatever separates them.
func columnNames(src io.ReaderAt, size int64) []string {
	head := make([]byte, min(size, headEnd))
	n, _ := src.ReadAt(head, 0)
	head = bytes.TrimPrefix(head[:n], []byte("\xef\xbb\xbf"))
	for len(head) > 0 {
		line, rest, _ := bytes.Cut(head, []byte("\n"))
		if len(bytes.Trim(line, ",;\t |\r")) > 0 {
			names := strings.FieldsFunc(strings.ToLower(string(line)), func(r rune) bool { return strings.ContainsRune(",;\t|", r) })
			for i := range names {
				names[i] = strings.Trim(names[i], "\" \r")
			}
			return names
		}
		head = rest
	}
	return nil
}

// namesFrequency tells a table of readings in the long format from one of trace
// files and from a trace.
func namesFrequency(names []string) bool {
	return slices.ContainsFunc(names, func(s string) bool {
		return s == "freq_hz" || s == "freq_khz" || s == "freq_mhz" || s == "freq_ghz"
	})
}

func namesState(names []string) bool {
	return slices.ContainsFunc(names, func(s string) bool { return s == "state" || s == "atten_db" || s == "se_db" })
}

// A claim is a file that a row of a listing names.
type claim struct {
	list *listing
	run  *trace.Run
	path string
}

// A lister finds out which files the listings claim.
type lister struct {
	*reader
	folders map[string]map[string]bool // names in each folder
	claims  map[string]*claim          // by path
	same    sameFiles
}

// list reads every runs.csv among the files found. The traces that it lists take
// their place behind it; files beside it that are no readings of their own and
// that nobody lists are set aside.
func (r *reader) list(ctx context.Context, s *search) error {
	l := lister{reader: r, folders: map[string]map[string]bool{}, claims: map[string]*claim{}}
	var lists []*listing
	behind := map[string][]*claim{} // by the path of the listing
	for i := range s.files {
		f := &s.files[i]
		if f.side != "" || !isListName(f.path) {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		list, rows, err := l.readList(ctx, f.path)
		if err != nil {
			return err
		}
		if list == nil {
			continue // readings in the long format
		}
		f.list = list
		lists = append(lists, list)
		behind[f.path] = rows
	}
	if len(lists) == 0 {
		return nil
	}
	var files []found
	for _, f := range s.files {
		switch {
		case l.claimed(f.path): // comes behind its listing
		case f.list != nil:
			files = append(files, f)
			for _, c := range behind[f.path] {
				files = append(files, found{path: c.path, claim: c})
			}
		case l.unlisted(ctx, f, lists):
			s.unlisted = append(s.unlisted, f.path)
		default:
			files = append(files, f)
		}
	}
	s.files = files
	s.ignored = slices.DeleteFunc(s.ignored, l.claimed)
	return nil
}

// claimed tells whether a row of a listing names this file, by this path or by
// another.
func (l *lister) claimed(path string) bool {
	if l.claims[filepath.Clean(path)] != nil {
		return true
	}
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular() && l.same.find(info) != ""
}

// hasNUL tells what is no text from its beginning.
func hasNUL(head []byte) bool { return bytes.IndexByte(head, 0) >= 0 }

// readList reads a runs.csv, and gives its rows whose files can be read. It gives
// no listing where the file holds readings in the long format.
func (l *lister) readList(ctx context.Context, path string) (*listing, []*claim, error) {
	uncached := int64(0)
	source, err := openEndless(ctx, path, nil, false, &uncached, hasNUL)
	list := &listing{path: path, dir: filepath.Dir(path), input: Input{Path: path}}
	if bad, ok := asBadGzip(err); ok {
		l.refused = true
		l.problems.Add(bad.problem(path))
		return list, nil, nil
	}
	if err != nil {
		return nil, nil, err
	}
	defer source.close()
	src, err := source.acquire()
	if err != nil {
		return nil, nil, err
	}
	defer source.release()
	if namesFrequency(columnNames(src, source.size)) {
		return nil, nil, nil
	}
	before := l.problems.Count()
	look := func(file string) *cell.Fault { return l.look(list, file) }
	runs, count, err := trace.ParseRuns(io.NewSectionReader(src, 0, source.size), path, look, &l.problems)
	if err != nil {
		return nil, nil, l.because(ctx, path, err)
	}
	list.runs = runs
	list.input.Rows, list.input.Blank, list.input.Skipped = count.Rows, count.Blank, count.Refused
	var claims []*claim
	if runs != nil {
		l.unused.add(path, runs.Unused)
		list.input.Skipped += runs.Complete(&l.problems)
		for i := range runs.Rows {
			if c := l.claim(list, &runs.Rows[i]); c != nil {
				claims = append(claims, c)
				l.summary.FreqToleranceHz = max(l.summary.FreqToleranceHz, c.run.Profile.FreqToleranceHz)
			} else {
				list.input.Skipped++
			}
		}
		for name := range runs.Named { // a row that cannot be used names its file all the same
			p := filepath.Join(list.dir, filepath.FromSlash(name))
			if l.claims[p] == nil && !isListName(p) && sidetable.Named(p) == "" {
				l.claims[p] = &claim{list: list}
			}
		}
	}
	list.input.Used = list.input.Rows - list.input.Blank - list.input.Skipped
	l.refused = l.refused || l.problems.Count() > before
	return list, claims, nil
}

// claim takes a file for a row; nil where another row has it.
func (l *lister) claim(list *listing, run *trace.Run) *claim {
	path := filepath.Join(list.dir, filepath.FromSlash(run.File))
	c := &claim{list: list, run: run, path: path}
	taken := func(by *claim, how string) *claim {
		at := list.runs.File(run.Line)
		where := by.list.path
		if by.run != nil {
			where = fmt.Sprintf("%s:%d", where, by.run.Line)
		}
		l.problems.Add(reading.Problem{File: list.path, Line: at.Line, Column: at.Column, Field: at.Field, Text: at.Text,
			What: how + " has a row already, at " + where, Mend: "keep one row for each trace file"})
		return nil
	}
	if by := l.claims[path]; by != nil {
		return taken(by, "the file")
	}
	if info, err := os.Stat(path); err == nil {
		if other := l.same.add(info, path); other != "" {
			return taken(l.claims[other], fmt.Sprintf("the same file, as %q,", other))
		}
	}
	l.claims[path] = c
	return c
}

// look tells what keeps a file that a row names from being read.
func (l *lister) look(list *listing, file string) *cell.Fault {
	parts := strings.Split(file, "/")
	dir := list.dir
	for i, part := range parts {
		names, err := l.names(dir)
		if err != nil {
			return &cell.Fault{What: "its folder cannot be read", Mend: "check who may read it"}
		}
		if !names[part] {
			if other := alike(names, part); other != "" {
				return &cell.Fault{What: "there is no such file", Mend: fmt.Sprintf("write %q as it stands in the folder", other)}
			}
			return &cell.Fault{What: "there is no such file", Mend: "correct the name, which is relative to " + trace.RunsName + ", or remove the row"}
		}
		if i < len(parts)-1 {
			dir = filepath.Join(dir, part)
		}
	}
	path := filepath.Join(dir, parts[len(parts)-1])
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return &cell.Fault{What: "cannot be read: " + reason(err), Mend: "check what the name stands for"}
	case info.IsDir():
		return &cell.Fault{What: "is a folder", Mend: "write the name of a trace file in it"}
	case !info.Mode().IsRegular():
		return &cell.Fault{What: "is no plain file", Mend: "write the name of a trace file"}
	case isListName(path) || sidetable.Named(path) != "":
		return &cell.Fault{What: "is no trace: files of this name say something of the traces", Mend: "remove the row, or give the trace another name"}
	case !within(list.dir, dir):
		return &cell.Fault{What: "stands in a folder that a link leads to, outside of that of " + trace.RunsName, Mend: "put the trace file beside " + trace.RunsName + " or below"}
	}
	return nil
}

// within tells whether a folder lies in another once links are followed.
func within(root, dir string) bool {
	if root == dir {
		return true
	}
	root, err := filepath.EvalSymlinks(root)
	if err != nil {
		return false
	}
	if dir, err = filepath.EvalSymlinks(dir); err != nil {
		return false
	}
	rel, err := filepath.Rel(root, dir)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
}

// names lists a folder. Some systems find a file by a name in other letters; to
// read the same everywhere, a name counts only as the folder spells it.
func (l *lister) names(dir string) (map[string]bool, error) {
	if names, ok := l.folders[dir]; ok {
		return names, nil
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	names := make(map[string]bool, len(entries))
	for _, e := range entries {
		names[e.Name()] = true
	}
	l.folders[dir] = names
	return names, nil
}

// alike is the name that differs in upper and lower case alone, the first in
// order; empty where there is none.
func alike(names map[string]bool, name string) string {
	best := ""
	for other := range names {
		if strings.EqualFold(other, name) && (best == "" || other < best) {
			best = other
		}
	}
	return best
}

// unlisted tells whether a file stands beside a listing or below and is no
// reading of its own, so that it is set aside.
func (l *lister) unlisted(ctx context.Context, f found, lists []*listing) bool {
	if f.side != "" || f.path == stdinPath || f.explicit || !slices.ContainsFunc(lists, func(list *listing) bool { return below(list.dir, f.path) }) {
		return false
	}
	switch formatOf(f.path).name {
	case networkFormat:
		return true
	case formats[0].name:
		uncached := int64(0)
		source, err := openEndless(ctx, f.path, nil, false, &uncached, hasNUL)
		if err != nil {
			return false // reading will tell
		}
		defer source.close()
		src, err := source.acquire()
		if err != nil {
			return false
		}
		defer source.release()
		names := columnNames(src, source.size)
		return !namesFrequency(names) || !namesState(names)
	}
	return false
}

// below tells whether a file lies in a folder or further down, by their paths.
func below(dir, path string) bool {
	rel, err := filepath.Rel(dir, path)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
}

// name is what runs without a label are called after: the folder.
func (l *listing) name() string {
	dir := l.dir
	if abs, err := filepath.Abs(dir); err == nil {
		dir = abs
	}
	if base := filepath.Base(dir); base != string(filepath.Separator) && base != "." {
		return base
	}
	return "runs"
}

// reason is the cause of an error about a path, without the path.
func reason(err error) string {
	if pe, ok := err.(*fs.PathError); ok {
		return pe.Err.Error()
	}
	return err.Error()
}
