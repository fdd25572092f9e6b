package main

import (
	"bytes"
	"context"
	"os"
	"regexp"
	"strings"
	"testing"
)

// What the README shows is what the program prints: the lines of each block that
// begins with a call stand in its output, in their order. A line of three dots
// stands for lines left out.
func TestReadme(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir("../..")
	blocks := regexp.MustCompile("(?s)```\n\\$ go run ./cmd/sealbound ([^\n]*)\n(.*?)```").FindAllStringSubmatch(string(text), -1)
	if len(blocks) < 5 {
		t.Fatalf("%d blocks with output", len(blocks))
	}
	for _, b := range blocks {
		args, err := splitArgs(b[1])
		if err != nil {
			t.Fatalf("%s: %v", b[1], err)
		}
		var stdout, stderr bytes.Buffer
		if code := realProgram().run(call{context.Background(), strings.NewReader(""), &stdout, &stderr}, append([]string{"sealbound"}, args...)); code != done {
			t.Errorf("%s: exit %d: %s", b[1], code, &stderr)
			continue
		}
		rest := strings.Split(stdout.String(), "\n")
		for _, line := range strings.Split(strings.TrimSpace(b[2]), "\n") {
			if strings.TrimSpace(line) == "..." || strings.TrimSpace(line) == "" {
				continue
			}
			at := 0
			for at < len(rest) && rest[at] != line && strings.TrimLeft(rest[at], " ") != line { // the first line stands trimmed
				at++
			}
			if at == len(rest) {
				t.Errorf("%s: the README shows a line that is not printed, or not there:\n%s", b[1], line)
				break
			}
			rest = rest[at+1:]
		}
	}
}

// The rows that the README shows as a pattern for one's own are read without a
// complaint, and every column that it tells of has a meaning.
func TestReadmeColumns(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	check := func(rows string) (code int, stdout, stderr string) {
		var out, errs bytes.Buffer
		code = realProgram().run(call{context.Background(), strings.NewReader(rows), &out, &errs}, []string{"sealbound", "check", "-"})
		return code, out.String(), errs.String()
	}
	pattern := regexp.MustCompile("(?s)```\n(run,date,box.*?)```").FindSubmatch(text)
	if pattern == nil {
		t.Fatal("no rows")
	}
	if code, _, stderr := check(string(pattern[1])); code != done {
		t.Errorf("the rows: exit %d: %s", code, stderr)
	}

	_, table, _ := strings.Cut(string(text), "\n| column | holds |\n")
	table, _, _ = strings.Cut(table, "\n\n")
	columns := 0
	for _, row := range strings.Split(table, "\n")[1:] {
		first, _, _ := strings.Cut(strings.TrimPrefix(row, "| "), " |")
		for _, name := range regexp.MustCompile("`([a-z_0-9]+)`").FindAllStringSubmatch(first, -1) {
			columns++
			header, open, closed := "run,closing,box,gasket,state,freq_mhz,level_dbm", "A,,,,open,145,-30", "A,1,osier,wovenfelt,closed,145,-90"
			switch {
			case strings.Contains(","+header+",", ","+name[1]+","):
			case name[1] == "atten_db":
				header, open, closed = "run,closing,box,gasket,freq_mhz,atten_db", "A,1,osier,wovenfelt,145,63.2", "A,2,osier,wovenfelt,145,>72.5"
			default:
				header, open, closed = header+","+name[1], open+",", closed+","
			}
			code, stdout, stderr := check(header + "\n" + open + "\n" + closed + "\n")
			if code != done || strings.Contains(stdout, "without a meaning") {
				t.Errorf("column %s: exit %d: %s%s", name[1], code, stderr, stdout)
			}
		}
	}
	if columns < 30 {
		t.Errorf("the README tells of %d columns", columns)
	}
}
