package study

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Readings dated after the day on which one asks are told with their place, and
// the result stands.
func TestDatesInTheFuture(t *testing.T) {
	path := filepath.Join(t.TempDir(), "runs.csv")
	text := "date,box,gasket,closing,freq_mhz,atten_db\n" +
		"2024-03-04,osier,foil,1,145,61\n2024-03-04,osier,foil,2,145,62\n2042-03-05,osier,foil,1,145,60\n2042-03-05,osier,foil,2,145,60.5\n"
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	for today, want := range map[string]string{
		"":           "",
		"2024-03-04": "2 closings are dated after today, the latest 2042-03-05, " + path + ":4: is the date right?",
		"2042-03-05": "", // today is not after today
	} {
		s := DefaultSettings()
		if today != "" {
			day, err := time.Parse(time.DateOnly, today)
			if err != nil {
				t.Fatal(err)
			}
			s.Today = day.Add(7 * time.Hour)
		}
		for name, ask := range map[string]func() ([]string, error){
			"check": func() ([]string, error) {
				d, err := Check(context.Background(), []string{path}, s)
				return d.Notes, err
			},
			"wear": func() ([]string, error) { d, err := Wear(context.Background(), []string{path}, s); return d.Notes, err },
		} {
			notes, err := ask()
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			told := ""
			for _, n := range notes {
				if strings.Contains(n, "after today") {
					told += n
				}
			}
			if told != want {
				t.Errorf("%s on %q says %q, want %q", name, today, told, want)
			}
		}
	}
}
