package campaign

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"sealbound/cmd/internal/atomicfile"
	"sealbound/stats/simulate"
)

// Write makes the campaign and writes it into the folder dir: the readings,
// boxes.csv, gaskets.csv, events.csv (where there are any), setup.csv,
// truth.json and README.md (where the layout has one). A folder that is new is
// there whole or not at all; in one that is there already each file is.
//
// Write refuses a folder that holds a file of one of those names, unless
// overwrite is set, and any that holds, itself or below, other files that a reader
// would take for readings of the same campaign.
func Write(dir string, settings simulate.Settings, layout Layout, overwrite bool) error {
	if err := layout.check(); err != nil {
		return err
	}
	c, err := simulate.New(settings)
	if err != nil {
		return err
	}
	groups := divide(c, &layout)
	side, err := sideFiles(c, &layout)
	if err != nil {
		return err
	}
	var names []string
	for _, g := range groups {
		names = append(names, g.name)
	}
	for _, s := range side {
		names = append(names, s.name)
	}
	return place(dir, names, overwrite, func(dir string) error { return writeFiles(dir, newRowWriter(c, &layout), groups, side) })
}

// place lets fill write files of those names, with / between their parts, into a
// folder, new or not.
func place(dir string, names []string, overwrite bool, fill func(dir string) error) error {
	_, err := os.Stat(dir)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return atomicfile.Folder(dir, fill)
	case err != nil:
		return err
	}
	if err := refuse(dir, names, overwrite); err != nil {
		return err
	}
	return fill(dir)
}

func writeFiles(dir string, rows *rowWriter, groups []group, side []sideFile) error {
	for _, g := range groups {
		err := atomicfile.Write(filepath.Join(dir, g.name), func(w io.Writer) error { return rows.file(w, g.runs) })
		if err != nil {
			return err
		}
	}
	return writeSide(dir, side)
}

// writeSide writes files that are made already, and the folders that they lie in.
func writeSide(dir string, files []sideFile) error {
	for _, f := range files {
		path := filepath.Join(dir, filepath.FromSlash(f.name))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			return err
		}
		if err := atomicfile.Write(path, func(w io.Writer) error { _, err := w.Write(f.body); return err }); err != nil {
			return err
		}
	}
	return nil
}

// A group is the runs that share a file.
type group struct {
	name string
	runs []int
}

// divide assigns the runs to files, in the order in which they were measured.
func divide(c *simulate.Campaign, l *Layout) []group {
	var out []group
	taken := map[string]bool{}
	session := -1
	for i, r := range c.Runs() {
		name := ""
		switch {
		case l.Files == OneFile && i == 0:
			name = l.Name
		case l.Files == PerSession && r.Session != session:
			name = fileName("session-", c.Settings().Sessions[r.Session].Name(), taken)
		case l.Files == PerRun:
			name = fileName("run-", r.Label, taken)
		}
		if name != "" {
			out = append(out, group{name: name})
		}
		session = r.Session
		last := &out[len(out)-1]
		last.runs = append(last.runs, i)
	}
	return out
}

// fileName makes a name that every file system takes and that is not taken yet,
// upper and lower case being the same on some of them.
func fileName(prefix, label string, taken map[string]bool) string {
	stem := prefix + strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '_', r == '.':
			return r
		}
		return '-'
	}, label)
	name := stem
	for n := 2; taken[strings.ToLower(name)]; n++ {
		name = stem + "-" + strconv.Itoa(n)
	}
	taken[strings.ToLower(name)] = true
	return name + ".csv"
}

// ErrThere is wrapped by the error of Write where files would be overwritten.
var ErrThere = errors.New("is there already")

// refuse finds files that would be overwritten unasked, and files of readings that
// would be left among those of those names, in the folder and below.
func refuse(dir string, names []string, overwrite bool) error {
	own := map[string]bool{}
	for _, name := range names {
		own[name] = true
	}
	return filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		hidden := path != dir && strings.HasPrefix(d.Name(), ".")
		switch {
		case err != nil:
			return err
		case d.IsDir() && hidden:
			return filepath.SkipDir
		case d.IsDir() || hidden: // which no reader looks at
			return nil
		}
		name, err := filepath.Rel(dir, path)
		switch name = filepath.ToSlash(name); {
		case err != nil:
			return err
		case own[name] && !overwrite:
			return fmt.Errorf("%s %w", path, ErrThere)
		case !own[name] && isReadings(name):
			return fmt.Errorf("%s: it is not of this campaign and would be read as part of it; take it away or choose another folder", path)
		}
		return nil
	})
}

// isReadings tells by its name whether a file would be read.
func isReadings(name string) bool {
	return slices.Contains([]string{".csv", ".parquet", ".arrow"}, filepath.Ext(strings.TrimSuffix(strings.ToLower(name), ".gz")))
}
