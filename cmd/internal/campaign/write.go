package campaign

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
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
// overwrite is set, and any that holds other CSV files, which a reader would
// take for readings of the same campaign.
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
	fill := func(dir string) error { return writeFiles(dir, newRowWriter(c, &layout), groups, side) }
	_, err = os.Stat(dir)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return atomicfile.Folder(dir, fill)
	case err != nil:
		return err
	}
	if err := refuse(dir, groups, side, overwrite); err != nil {
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
	for _, s := range side {
		err := atomicfile.Write(filepath.Join(dir, s.name), func(w io.Writer) error {
			_, err := w.Write(s.body)
			return err
		})
		if err != nil {
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

// refuse finds files that Write would overwrite unasked, and CSV files that it
// would leave beside its own.
func refuse(dir string, groups []group, side []sideFile, overwrite bool) error {
	own := map[string]bool{}
	for _, g := range groups {
		own[g.name] = true
	}
	for _, s := range side {
		own[s.name] = true
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		switch {
		case own[e.Name()] && !overwrite:
			return fmt.Errorf("%s %w", filepath.Join(dir, e.Name()), ErrThere)
		case strings.EqualFold(filepath.Ext(e.Name()), ".csv") && !own[e.Name()]:
			return fmt.Errorf("%s: a CSV file that this campaign does not write would be read as part of it; take it away or choose another folder", filepath.Join(dir, e.Name()))
		}
	}
	return nil
}
