package campaign

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"sealbound/stats/simulate"
)

// Write makes the campaign and writes it into the folder dir, which is made
// where it is missing: the readings, boxes.csv, gaskets.csv, events.csv (where
// there are any), setup.csv, truth.json and README.md (where the layout has
// one). Each file is written under a temporary name and then renamed, so a file
// is there whole or not at all, and one of that name is replaced. Write refuses
// a folder that holds other CSV files, which a reader would take for readings
// of the same campaign.
func Write(dir string, settings simulate.Settings, layout Layout) error {
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
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	if err := refuseStrangers(dir, groups, side); err != nil {
		return err
	}
	rows := newRowWriter(c, &layout)
	for _, g := range groups {
		err := replace(filepath.Join(dir, g.name), func(f *os.File) error { return rows.file(f, g.runs) })
		if err != nil {
			return err
		}
	}
	for _, s := range side {
		err := replace(filepath.Join(dir, s.name), func(f *os.File) error {
			_, err := f.Write(s.body)
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

// refuseStrangers finds CSV files that Write would leave beside its own.
func refuseStrangers(dir string, groups []group, side []sideFile) error {
	own := map[string]bool{"boxes.csv": true, "gaskets.csv": true, "events.csv": true, "setup.csv": true}
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
		if strings.EqualFold(filepath.Ext(e.Name()), ".csv") && !own[e.Name()] {
			return fmt.Errorf("%s: a CSV file that this campaign does not write would be read as part of it; take it away or choose another folder", filepath.Join(dir, e.Name()))
		}
	}
	return nil
}

// replace writes a file under a temporary name beside it and renames it once it
// is whole. On failure nothing is left behind.
func replace(path string, fill func(*os.File) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".sealbound-*.tmp")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if err = fill(f); err != nil {
		return err
	}
	if err = f.Chmod(0o644); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
