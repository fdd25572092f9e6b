package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Boxes, gaskets, sessions and fittings whose names hold numbers are listed by
// those numbers in every answer: 2 before 10, and equal names never part.
func TestNamesAreListedByTheirNumbers(t *testing.T) {
	dir := t.TempDir()
	numbers := []int{10, 2, 1, 100}
	var rows strings.Builder
	rows.WriteString("run,date,session,box,gasket,closing,state,freq_mhz,level_dbm,receiver\n")
	for _, session := range []string{"day-10", "day-9"} {
		for i, n := range numbers {
			run := fmt.Sprintf("%s-run-%d", session, n)
			date := map[string]string{"day-9": "2031-05-09", "day-10": "2031-05-10"}[session]
			fmt.Fprintf(&rows, "%s,%s,%s,,,,open,100,-30,rx\n%s,%s,%s,,,,floor,100,-130,rx\n", run, date, session, run, date, session)
			for k, closing := range []string{"10", "9", "11"} {
				fmt.Fprintf(&rows, "%s,%s,%s,box-%d,felt-%d,%s,closed,100,%.2f,rx\n", run, date, session, n, n, closing, -90-float64(i)/3-float64(k*k)/7)
			}
		}
	}
	path := filepath.Join(dir, "readings.csv")
	if err := os.WriteFile(path, []byte(rows.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{
		{"judge", "--target", "55"}, {"judge", "--by", "box"}, {"judge", "--by", "gasket"}, {"spread", "--by", "box"}, {"spread"}, {"wear", "--by", "box"}, {"wear"},
		{"compare", "--format", "json"}, {"report", "-o", filepath.Join(dir, "report.html")}, {"check"},
	} {
		for _, format := range []string{"text", "json", "csv", "markdown"} {
			call1 := append(append([]string{"sealbound"}, args...), path)
			if args[0] != "report" && args[0] != "compare" {
				call1 = append(call1, "--format", format)
			}
			var stdout, stderr bytes.Buffer
			if code := realProgram().run(call{context.Background(), nil, &stdout, &stderr}, call1); code != done {
				t.Fatalf("%q: exit %d: %s", call1, code, stderr.String())
			}
			out := stdout.String()
			if args[0] == "report" {
				page, err := os.ReadFile(filepath.Join(dir, "report.html"))
				if err != nil {
					t.Fatal(err)
				}
				out = string(page)
			}
			compared := 0
			for _, name := range []string{"box-", "felt-"} {
				last, before := -1, ""
				for _, n := range []string{"1", "2", "10", "100"} {
					at := first(out, name+n)
					if at < 0 {
						continue
					}
					if at < last && args[0] != "compare" { // compare lists the best product first
						t.Errorf("%q: %s%s stands before %s", call1, name, n, before)
					}
					if last >= 0 {
						compared++
					}
					last, before = at, name+n
				}
			}
			if compared < 3 && args[0] != "check" {
				t.Errorf("%q: only %d names were compared", call1, compared)
			}
		}
	}
}

// first is where word stands for the first time without a digit behind it.
func first(text, word string) int {
	for from := 0; ; {
		i := strings.Index(text[from:], word)
		if i < 0 {
			return -1
		}
		i += from
		if end := i + len(word); end == len(text) || text[end] < '0' || text[end] > '9' {
			return i
		}
		from = i + 1
	}
}
