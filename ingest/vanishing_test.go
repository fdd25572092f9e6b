package ingest

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A file that goes, shrinks or is replaced while it is read gives an error that names
// it, or the answer that it gave before; never another one.
func TestVanishingFiles(t *testing.T) {
	for size, remark := range map[string]int{"read twice": 4000, "taken to be in order": 40_000} {
		var text strings.Builder
		text.WriteString("remark," + head)
		for i := range 300 {
			r := strings.Repeat("x", remark)
			fmt.Fprintf(&text, "%s,z%03d,,,,open,100,-31\n%s,z%03d,B,G,1,closed,100,-59\n", r, i, r, i)
		}
		if large := text.Len() >= orderlyFrom; text.Len() <= cacheFile || large != (size == "taken to be in order") {
			t.Fatalf("%s: %d bytes", size, text.Len())
		}
		for name, harm := range map[string]func(path string) error{
			"removed":   os.Remove,
			"cut short": func(path string) error { return os.Truncate(path, int64(text.Len()/2)) },
			"emptied":   func(path string) error { return os.Truncate(path, 0) },
			"replaced": func(path string) error {
				if err := os.WriteFile(path+".new", []byte(ok), 0o644); err != nil {
					return err
				}
				return os.Rename(path+".new", path)
			},
		} {
			for _, several := range []bool{false, true} {
				files := map[string]string{"z.csv": text.String()}
				for i := range openAtOnce + 1 {
					if several { // then none is kept open
						files[fmt.Sprintf("small %d.csv", i)] = strings.ReplaceAll(ok, "a,", fmt.Sprintf("s%d,", i))
					}
				}
				dir := folder(t, files)
				path := filepath.Join(dir, "z.csv")
				var got []string
				sum, err := Read(context.Background(), []string{dir}, DefaultOptions(), func(r *Run) error {
					if len(got) == 0 {
						if err := harm(path); err != nil {
							return err
						}
					}
					got = append(got, r.Label)
					return nil
				})
				what := fmt.Sprintf("%s, %s, several files %v", size, name, several)
				if err != nil {
					if !strings.Contains(err.Error(), "z.csv: ") || name != "removed" && !strings.Contains(err.Error(), "while it was read") || sum != nil && len(sum.Problems) > 0 {
						t.Errorf("%s: %v", what, err)
					}
					continue
				}
				if want := len(files) - 1 + 300; len(got) != want || len(sum.Problems) > 0 {
					t.Errorf("%s: %d runs of %d without an error, problems %v", what, len(got), want, sum.Problems)
				}
				if name == "cut short" || name == "emptied" {
					t.Errorf("%s: no error", what)
				}
			}
		}
	}
}
