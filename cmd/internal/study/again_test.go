package study

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

// A file large enough to be taken to be in order gives the same answers where a row
// shows, after most runs were read, that it is not: what was kept of them is forgotten.
func TestReadAgain(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	var rows []string
	for run := range 60 {
		for closing := range 11 {
			for point := range 201 {
				state, labels := "closed", fmt.Sprintf("box %d,wool,%d", run%7, closing)
				level := -80 + 5*r.NormFloat64()
				if closing == 0 {
					state, labels, level = "open", ",,", -30+r.NormFloat64()/4
				}
				rows = append(rows, fmt.Sprintf("visit number %02d,2026-03-%02d,%s,%s,%d,%.2f,-115\n", run, 1+run%28, labels, state, 10000000*(point+1), level))
			}
		}
	}
	path := filepath.Join(t.TempDir(), "data.csv")
	write := func(rows []string) {
		text := "run,date,box,gasket,closing,state,freq_hz,level_dbm,floor_dbm\n" + strings.Join(rows, "")
		if len(text) < 8<<20 {
			t.Fatalf("%d bytes are too few", len(text))
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	answers := func() (a [2]any) {
		s := DefaultSettings()
		s.AllDates = true
		judge, err := Judge(context.Background(), []string{path}, s)
		if err != nil {
			t.Fatal(err)
		}
		page, err := Report(context.Background(), []string{path}, ReportSettings{Settings: s, Command: []string{"report"}})
		if err != nil {
			t.Fatal(err)
		}
		page.Account.Files = nil // their digests differ, as the files do
		return [2]any{judge, page}
	}
	write(rows)
	want := answers()
	// A row of the last run but one takes the place of one of the last.
	a, b := 58*11*201+1000, 59*11*201+1000
	rows[a], rows[b] = rows[b], rows[a]
	write(rows)
	got := answers()
	for i, what := range []string{"judgement", "report"} {
		if !reflect.DeepEqual(got[i], want[i]) {
			t.Errorf("the %s differs", what)
		}
	}
}
