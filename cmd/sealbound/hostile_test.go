package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"sealbound/cmd/internal/texttab"
)

// hostileLabels try to steer a terminal, a spreadsheet, a browser or a reader.
var hostileLabels = map[string]string{
	"escape":    "a\x1b[31mred\x1b]0;title\x07b",
	"one rune":  "a\u009b31mb\u0085c",
	"formula":   `=cmd|"/c calc"!A1`,
	"sign":      "+45",
	"minus":     "-2+3",
	"at":        "@SUM(A1)",
	"wide sign": "＝1+1",
	"script":    `</title><script>alert(1)</script><img src=x onerror=alert(1)>`,
	"quotes":    `"&'<` + "`",
	"markdown":  "a|b`c`*d*_e_[x](javascript:y)![z](w)# <b>",
	"bidi":      "a\u202egnp\u202cb\u2066c\u2069",
	"hidden":    "a\u200bb\ufeffc\u2060d\u00ade\U000e0041",
	"lines":     "line1\nline2\u2028line3",
	"tab":       "a\tb\rc",
	"template":  "{{.}}${x}%s%n",
	"long":      strings.Repeat("x", 10000),
	"long text": strings.Repeat("word ", 400) + "end",
}

// hostileCampaign writes a campaign that holds the label wherever one may stand.
func hostileCampaign(t *testing.T, label string) string {
	t.Helper()
	dir := t.TempDir()
	table := func(name string, rows [][]string) {
		var b bytes.Buffer
		if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	rows := [][]string{strings.Split("run,date,session,box,gasket,fitting,closing,state,freq_mhz,level_dbm,position,polarization,receiver,operator,note", ",")}
	for s := range 3 {
		for b := range 2 {
			run, date, session := fmt.Sprint(label, s, b), fmt.Sprintf("203%d-01-0%d", s, b+1), label+fmt.Sprint(s)
			for _, state := range []string{"open", "floor"} {
				level := map[string]string{"open": "-30", "floor": "-130"}[state]
				rows = append(rows, []string{run, date, session, "", "", "", "", state, "100", level, label, label, label, "", ""})
			}
			for c := range 3 {
				rows = append(rows, []string{run, date, session, label + fmt.Sprint(b), label, label, label + fmt.Sprint(c), "closed", "100",
					fmt.Sprint(-90 - c - b - s), label, label, label, label, label})
			}
		}
	}
	table("readings.csv", rows)
	table("boxes.csv", [][]string{{"box", "role", "type"}, {label + "0", "test", label}, {label + "1", "test", label}})
	table("gaskets.csv", [][]string{{"gasket", "strip_length_mm", "strip_price", "currency"}, {label, "300", "2", label}})
	table("events.csv", [][]string{{"date", "box", "event", "text"}, {"2033-06-01", label + "0", "note", label}})
	table("setup.csv", [][]string{{"run", "field", "value"}, {label + "00", label, label}})
	return dir
}

// Whatever the labels hold, nothing that any command writes, in any format, steers
// a terminal, runs in a spreadsheet or is markup; and JSON gives the label back.
func TestHostileLabelsEverywhere(t *testing.T) {
	for name, label := range hostileLabels {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			data, out := hostileCampaign(t, label), t.TempDir()
			ask := func(args ...string) (string, string) {
				t.Helper()
				var stdout, stderr bytes.Buffer
				code := realProgram().run(call{context.Background(), nil, &stdout, &stderr}, append([]string{"sealbound"}, args...))
				if code != done {
					t.Fatalf("%q: exit %d: %.400s", args, code, stderr.String())
				}
				neutral(t, args, stdout.String())
				neutral(t, args, stderr.String())
				return stdout.String(), stderr.String()
			}
			for _, cmd := range []string{"judge", "check", "spread", "wear", "compare"} {
				ask(cmd, data, "--format", "text")
				if cmd != "check" {
					ask(cmd, data, "--format", "text", "--explain")
				}
				md, _ := ask(cmd, data, "--format", "markdown")
				noMarkup(t, cmd, md)
				table, _ := ask(cmd, data, "--format", "csv")
				inertCells(t, cmd, table)
				text, _ := ask(cmd, data, "--format", "json")
				var doc any
				if err := json.Unmarshal([]byte(text), &doc); err != nil {
					t.Fatalf("%s: %v", cmd, err)
				}
				if cmd == "judge" && !holds(doc, label) {
					t.Errorf("%s: JSON does not hold the label %.60q", cmd, label)
				}
			}
			ask("plan", "--from", data, "--margin", "3")
			hostileSheet(t, data, filepath.Join(out, "sheet.csv"), label)
			if len(label) < 5000 { // with longer ones the page says that it would not hold them
				hostilePages(t, ask, data, out, label)
			}
			hostilePack(t, ask, data, out)
		})
	}
}

// neutral fails where text could steer a display. A CSV cell may hold a line end.
func neutral(t *testing.T, args []string, text string) {
	t.Helper()
	if !utf8.ValidString(text) {
		t.Errorf("%q: not UTF-8", args)
	}
	for _, r := range text {
		if r != '\n' && texttab.Unsafe(r) {
			t.Errorf("%q: %q is let through", args, r)
			return
		}
	}
}

var (
	tag     = regexp.MustCompile(`<[A-Za-z/!]`)
	live    = regexp.MustCompile("(^|[^\\\\])[`*_\\[\\]~]")
	number  = regexp.MustCompile(`^[-+]?[0-9.]+(e[-+]?[0-9]+)?$`)
	formula = regexp.MustCompile(`^[=+\-@＝＋－＠\t\r]`)
)

// noMarkup fails where markdown holds a tag or a mark that is not escaped.
func noMarkup(t *testing.T, cmd, text string) {
	t.Helper()
	columns := 0
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, "    ") { // a block of code
			continue
		}
		if tag.MatchString(line) || live.MatchString(strings.ReplaceAll(line, `\\`, "")) {
			t.Errorf("%s: markup in %.200q", cmd, line)
		}
		if !strings.HasPrefix(line, "|") {
			columns = 0
			continue
		}
		cells := strings.Count(strings.ReplaceAll(strings.ReplaceAll(line, `\\`, ""), `\|`, ""), "|")
		if columns != 0 && cells != columns {
			t.Errorf("%s: a row of %d cells under one of %d: %.200q", cmd, cells, columns, line)
		}
		columns = cells
	}
}

// inertCells fails where a cell of CSV would be run by a spreadsheet.
func inertCells(t *testing.T, cmd, text string) {
	t.Helper()
	records, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Errorf("%s: %v", cmd, err)
	}
	for _, record := range records {
		for _, c := range record {
			if formula.MatchString(c) && !number.MatchString(c) {
				t.Errorf("%s: the cell %.60q would be run", cmd, c)
			}
		}
	}
}

// holds reports whether some text of a JSON value holds the label as it is.
func holds(v any, label string) bool {
	switch v := v.(type) {
	case string:
		return strings.Contains(v, label)
	case []any:
		for _, x := range v {
			if holds(x, label) {
				return true
			}
		}
	case map[string]any:
		for k, x := range v {
			if holds(x, label) || strings.Contains(k, label) {
				return true
			}
		}
	}
	return false
}

// hostileSheet plans from the data: the sheet comes back as it was written, or is
// refused.
func hostileSheet(t *testing.T, data, sheet, label string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	args := []string{"sealbound", "plan", "--from", data, "--margin", "3", "--sheet", sheet}
	code := realProgram().run(call{context.Background(), nil, &stdout, &stderr}, args)
	neutral(t, args, stderr.String())
	if texttab.Clean(strings.ReplaceAll(label, "\n", "")) != strings.ReplaceAll(label, "\n", "") {
		if _, err := os.Stat(sheet); code != wrongUse || !errors.Is(err, os.ErrNotExist) {
			t.Errorf("a sheet with such a label: exit %d, %v", code, err)
		}
		return
	}
	text, err := os.ReadFile(sheet)
	if code != done || err != nil {
		t.Fatalf("exit %d, %v: %s", code, err, stderr.String())
	}
	neutral(t, args, string(text))
	inertCells(t, "sheet", string(text))
}

func hostilePages(t *testing.T, ask func(args ...string) (string, string), data, out, label string) {
	t.Helper()
	page, figures := filepath.Join(out, "page.html"), filepath.Join(out, "figures")
	ask("report", data, "-o", page, "--figures", figures, "--title", "of "+texttab.Clean(label))
	box := filepath.Join(out, "box.html")
	ask("report", data, "-o", box, "--box", `"`+strings.ReplaceAll(label+"0", `"`, `""`)+`"`)
	pictures, err := filepath.Glob(filepath.Join(figures, "*.svg"))
	if err != nil || len(pictures) == 0 {
		t.Fatalf("no pictures: %v", err)
	}
	for _, path := range append(pictures, page, box) {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		neutral(t, []string{path}, string(text))
		lower := strings.ToLower(string(text))
		for _, bad := range []string{"<script", "<img", `href="javascript:`, "onerror=alert(1)>"} {
			if strings.Contains(lower, bad) {
				t.Errorf("%s holds %s", path, bad)
			}
		}
		if strings.HasSuffix(path, ".svg") {
			for d := xml.NewDecoder(bytes.NewReader(text)); ; {
				if _, err := d.Token(); err == io.EOF {
					break
				} else if err != nil {
					t.Errorf("%s: %v", path, err)
					break
				}
			}
		}
	}
}

// hostilePack packs the data as CSV and back: labels that a spreadsheet would run
// are guarded there and come back as they were.
func hostilePack(t *testing.T, ask func(args ...string) (string, string), data, out string) {
	t.Helper()
	packed := filepath.Join(out, "packed.csv")
	ask("pack", filepath.Join(data, "readings.csv"), "-o", packed)
	text, err := os.ReadFile(packed)
	if err != nil {
		t.Fatal(err)
	}
	inertCells(t, "pack", strings.ReplaceAll(strings.ReplaceAll(string(text), "\t", " "), "\r", " "))
	results := func(path string) any {
		text, _ := ask("judge", path, "--format", "json", "--all-dates")
		var doc struct{ Results any }
		if err := json.Unmarshal([]byte(text), &doc); err != nil {
			t.Fatal(err)
		}
		return doc.Results
	}
	if a, b := fmt.Sprint(results(filepath.Join(data, "readings.csv"))), fmt.Sprint(results(packed)); a != b {
		t.Errorf("other results from the packed data:\n%.500s\n%.500s", a, b)
	}
}

// A label that is not UTF-8, a lone surrogate among them, is refused with its place.
func TestLabelsThatAreNoText(t *testing.T) {
	for _, label := range []string{"b\xff", "b\xed\xa0\x80", "b\xc0\xaf", "b\x00"} {
		path := filepath.Join(t.TempDir(), "readings.csv")
		text := "run,box,gasket,closing,state,freq_mhz,level_dbm\nr,,,,open,100,-30\nr," + label + ",g,1,closed,100,-90\n"
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		var stdout, stderr bytes.Buffer
		code := realProgram().run(call{context.Background(), nil, &stdout, &stderr}, []string{"sealbound", "judge", path})
		if code != wrongUse || stdout.Len() > 0 || !strings.Contains(stderr.String(), "readings.csv:3:4: ") {
			t.Errorf("%q: exit %d, %s", label, code, stderr.String())
		}
		neutral(t, []string{"judge"}, stderr.String())
	}
}
