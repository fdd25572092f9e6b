package ingest

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strings"
)

// ErrNoFiles is wrapped by the error of Read where a path leads to nothing that
// could be read: an empty folder, a glob without a match, no path at all.
var ErrNoFiles = errors.New("nothing to read")

// stdinPath is the path that stands for standard input.
const stdinPath = "-"

// A found file is a path to read, or a side table.
type found struct {
	path     string
	side     string   // name of the side table, empty for readings
	explicit bool     // given by its own name
	size     int64    // of a plain file, when it was found; -1 for anything else
	list     *listing // that it is, nil for other files
	claim    *claim   // the row of a listing that names it, nil for other files
}

// A search collects the files that paths lead to, each once.
type search struct {
	files    []found
	seen     map[string]bool
	found    sameFiles // to know one that is given twice
	ignored  []string
	twice    []string
	unlisted []string // beside a runs.csv, and not in it
}

// find expands paths: files, folders with all that is below them, globs, and -.
func find(paths []string) (*search, error) {
	if len(paths) == 0 {
		return nil, fmt.Errorf("%w: no path is given", ErrNoFiles)
	}
	s := &search{seen: map[string]bool{}}
	for _, p := range paths {
		if err := s.path(p); err != nil {
			return nil, err
		}
	}
	s.seen, s.found = nil, sameFiles{}
	for _, f := range s.files {
		if f.side == "" {
			return s, nil
		}
	}
	if len(s.files) > 0 {
		return nil, fmt.Errorf("%w: %s holds side tables alone, no readings", ErrNoFiles, strings.Join(paths, ", "))
	}
	return nil, fmt.Errorf("%w in %s", ErrNoFiles, strings.Join(paths, ", "))
}

func (s *search) path(p string) error {
	if p == stdinPath {
		s.add(p, nil)
		return nil
	}
	if p == "" {
		return fmt.Errorf("%w: a path is empty", ErrNoFiles)
	}
	info, err := os.Stat(p)
	switch {
	case err == nil && info.IsDir():
		before := len(s.files) + len(s.twice)
		if err := s.folder(p); err != nil {
			return err
		}
		if len(s.files)+len(s.twice) == before {
			other := ""
			if len(s.ignored) > 0 {
				other = fmt.Sprintf("; other files are there: %s; save what a spreadsheet holds as CSV", listed(s.ignored))
			}
			return fmt.Errorf("%w: the folder %s holds no %s file, nor a runs.csv that lists others%s", ErrNoFiles, p, strings.Join(endings(), ", "), other)
		}
		return nil
	case err == nil:
		n := len(s.files)
		s.add(p, info)
		if len(s.files) > n {
			s.files[n].explicit = true
		}
		return nil
	case !errors.Is(err, fs.ErrNotExist) || !strings.ContainsAny(p, "*?["):
		return plain(err)
	}
	return s.glob(p)
}

func (s *search) glob(pattern string) error {
	matches, err := filepath.Glob(pattern)
	if err != nil {
		return fmt.Errorf("%s is not a pattern: %w", pattern, err)
	}
	sort.Strings(matches)
	any := !strings.ContainsAny(filepath.Ext(pattern), "*?[") && filepath.Ext(pattern) != ""
	before := len(s.files) + len(s.twice)
	for _, m := range matches {
		info, err := os.Stat(m)
		switch {
		case err != nil:
			return plain(err)
		case info.IsDir():
			if err := s.folder(m); err != nil {
				return err
			}
		case any || wanted(m):
			s.add(m, info)
		default:
			s.ignored = append(s.ignored, m)
		}
	}
	if len(s.files)+len(s.twice) == before {
		return fmt.Errorf("%w: no file matches %s", ErrNoFiles, pattern)
	}
	return nil
}

// folder adds the files below dir, in order of their names. Links to files are
// followed, links to folders are not, since they may lead in a circle.
func (s *search) folder(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return plain(err)
	}
	for _, e := range entries {
		p := filepath.Join(dir, e.Name())
		if strings.HasPrefix(e.Name(), ".") {
			s.ignored = append(s.ignored, p)
			continue
		}
		if e.IsDir() {
			if err := s.folder(p); err != nil {
				return err
			}
			continue
		}
		if !wanted(p) {
			s.ignored = append(s.ignored, p)
			continue
		}
		info, err := os.Stat(p)
		if err != nil {
			return plain(err)
		}
		if !info.Mode().IsRegular() {
			s.ignored = append(s.ignored, p)
			continue
		}
		s.add(p, info)
	}
	return nil
}

func (s *search) add(p string, info os.FileInfo) {
	name := filepath.Clean(p)
	again := s.seen[name]
	if info != nil && info.Mode().IsRegular() {
		again = s.found.add(info, name) != "" || again
	}
	if again {
		s.twice = append(s.twice, p)
		return
	}
	s.seen[name] = true
	size := int64(-1)
	if info != nil && info.Mode().IsRegular() {
		size = info.Size()
	}
	s.files = append(s.files, found{path: p, side: sideTable(p), size: size})
}

// stem is the file's name without folder and endings: run 7.csv.gz is run 7.
func stem(path string) string {
	if path == stdinPath {
		return "stdin"
	}
	base := filepath.Base(path)
	if strings.HasSuffix(strings.ToLower(base), ".gz") {
		base = base[:len(base)-3]
	}
	if ext := filepath.Ext(base); ext != "" && ext != base {
		base = base[:len(base)-len(ext)]
	}
	return base
}

// ending is the lower-case ending of the path, .gz left out.
func ending(path string) string {
	return filepath.Ext(strings.TrimSuffix(strings.ToLower(filepath.Base(path)), ".gz"))
}

// plain takes the system call out of an error: open x: no such file becomes x:
// no such file.
func plain(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return fmt.Errorf("%s: %w", pe.Path, pe.Err)
	}
	return err
}
