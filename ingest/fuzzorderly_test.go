package ingest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// FuzzOrderly reads arbitrary bytes as a file that is taken to be in order, and as any
// other: the two give the same.
func FuzzOrderly(f *testing.F) {
	f.Add([]byte(ok))
	f.Add([]byte(campaign(3, 2, 2)))
	f.Add([]byte(strings.ReplaceAll(campaign(2, 1, 2), "\n", "\r\n")))
	for _, d := range damage {
		f.Add([]byte(d.text))
	}
	rows := strings.SplitAfter(campaign(6, 2, 3), "\n")
	half := len(rows) / 2
	f.Add([]byte(strings.Join(rows[:half], "") + "\n" + strings.Join(rows[half:], "")))
	f.Add([]byte(rows[0] + strings.Join(rows[half:], "") + strings.Join(rows[1:half], "")))
	f.Fuzz(func(t *testing.T, data []byte) {
		path := filepath.Join(t.TempDir(), "a.csv")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		opt := DefaultOptions()
		opt.SkipBadRows, opt.ProblemLimit = true, 10
		read(t, opt, path) // compares the two
	})
}
