package study

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// campaignOf reads a campaign from the text of one file.
func campaignOf(t *testing.T, text string) *campaign {
	t.Helper()
	path := filepath.Join(t.TempDir(), "readings.csv")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := read(context.Background(), []string{path}, DefaultSettings())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.close)
	return c
}

// alikeBoxes are boxes whose closed levels lie within 0.1 dB, at three points but for
// the last box, which has two, and one box that lies apart.
func alikeBoxes(boxes int) string {
	var b strings.Builder
	b.WriteString("run,date,box,gasket,closing,state,freq_mhz,level_dbm\n")
	for p := range 3 {
		fmt.Fprintf(&b, "r,2026-01-05,,,,open,%d,-20\n", 100+p)
	}
	for i := range boxes {
		for p := range 3 {
			level := -90 + 0.1*float64(i%2)
			if i == 1 {
				level = -70
			}
			if i < boxes-1 || p < 2 {
				fmt.Fprintf(&b, "r,2026-01-05,b%d,foil,1,closed,%d,%g\n", i, 100+p, level)
			}
		}
	}
	return b.String()
}

// Boxes whose levels agree at three points or more are named in pairs. However many
// boxes a session has, what is kept of it, compared and named is bounded, and a note
// says where it ended. No source: by the meaning of the note.
func TestAlikeBoxes(t *testing.T) {
	defer func(levels, compared, pairs int) { mostLevels, mostCompared, mostPairs = levels, compared, pairs }(mostLevels, mostCompared, mostPairs)
	c := campaignOf(t, alikeBoxes(6))
	for _, tt := range []struct {
		levels, compared, pairs int
		want                    string
	}{
		{1000, 1000, 100, "boxes b0 and b2, b0 and b3, b0 and b4, b2 and b3, b2 and b4, b3 and b4:"},
		{1000, 1000, 2, "boxes b0 and b2, b0 and b3, 4 more pairs:"},
		{11, 1000, 100, "boxes b0 and b2: ; from box b3 on not all were"},
		{1000, 3, 100, "boxes b0 and b2: ; from box b0 on not all were"},
	} {
		mostLevels, mostCompared, mostPairs = tt.levels, tt.compared, tt.pairs
		row := c.checkRow()
		notes, err := c.sift(&row, DefaultSettings())
		if err != nil {
			t.Fatal(err)
		}
		got := strings.Join(notes, "; ")
		for _, part := range strings.Split(tt.want, " ; ") {
			if !strings.Contains(got, part) {
				t.Errorf("%+v: got %s", tt, got)
			}
		}
		if strings.Contains(tt.want, "not all") != (len(notes) > 1) {
			t.Errorf("%+v: notes %q", tt, notes)
		}
	}
}

// What is kept of one session is gone in the next: levels that agree between sessions
// say nothing.
func TestSessionsApart(t *testing.T) {
	first := alikeBoxes(3)
	_, second, _ := strings.Cut(first, "\n")
	text := first + strings.NewReplacer("r,2026-01-05", "q,2026-01-06", ",b", ",c").Replace(second)
	c := campaignOf(t, text)
	row := c.checkRow()
	notes, err := c.sift(&row, DefaultSettings())
	if err != nil || len(notes) > 0 || row.Closings != 6 || row.Frequencies != 3 {
		t.Errorf("%v, notes %q, row %+v", err, notes, row)
	}
}

// Tests of a gasket begin again after days of other gaskets alone; a day of both parts
// nothing. What it costs does not grow with the square of the gaskets: ten thousand in
// one box took minutes. No source: by the meaning of a fitting without a label.
func TestPartings(t *testing.T) {
	var b strings.Builder
	b.WriteString("run,date,box,gasket,closing,freq_mhz,atten_db\n")
	for i, day := range []string{"01", "02", "03", "04", "05"} {
		for _, gasket := range []string{"a", "b"} {
			if gasket == "a" && (day == "02" || day == "04") || gasket == "b" && day == "03" {
				continue
			}
			fmt.Fprintf(&b, "r%d,2026-01-%s,box,%s,1,100,70\n", i, day, gasket)
		}
	}
	c := campaignOf(t, b.String())
	got := c.partings()
	day := func(d int) time.Time { return time.Date(2026, 1, d, 0, 0, 0, 0, time.UTC) }
	if a, b := got[seat{"box", "a"}], got[seat{"box", "b"}]; len(a) != 2 || !a[0].Equal(day(3)) || !a[1].Equal(day(5)) || len(b) != 1 || !b[0].Equal(day(4)) {
		t.Errorf("a %v, b %v", a, b)
	}
}

// More closings than memory holds are refused in words.
func TestManyClosings(t *testing.T) {
	defer func(n int) { mostClosings = n }(mostClosings)
	mostClosings = 3
	path := filepath.Join(t.TempDir(), "readings.csv")
	if err := os.WriteFile(path, []byte(alikeBoxes(4)), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := Judge(context.Background(), []string{path}, DefaultSettings())
	if err == nil || !strings.Contains(err.Error(), "more than 3 closings or runs") {
		t.Errorf("got %v", err)
	}
	defer func(n int) { mostWords = n }(mostWords)
	mostClosings, mostWords = 4, 0
	if _, err = Judge(context.Background(), []string{path}, DefaultSettings()); err == nil || !strings.Contains(err.Error(), "the labels take up more than") {
		t.Errorf("long labels: %v", err)
	}
}

// A band for each of very many frequencies is refused before it takes any memory.
func TestManyBands(t *testing.T) {
	defer func(n int) { mostPlaces = n }(mostPlaces)
	for places, want := range map[int]bool{9: false, 8: true} { // three bands of three points
		mostPlaces = places
		s := DefaultSettings()
		s.Bands, s.campaign = "each", campaignOf(t, alikeBoxes(3))
		_, err := Judge(context.Background(), nil, s)
		if got := err != nil && strings.Contains(err.Error(), "more than memory holds"); got != want {
			t.Errorf("%d places: %v", places, err)
		}
	}
}
