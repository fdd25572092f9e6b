package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// fill writes levels into a sheet: -30 dBm open, -110 dBm floor, and closed
// readings around mean dB below the open level, from closing to closing 1 dB apart.
func fill(t *testing.T, path string, mean float64) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, name := range rows[0] {
		at[name] = i
	}
	for i, row := range rows[1:] {
		level := -30.0
		switch row[at["state"]] {
		case "floor":
			level = -110
		case "closed":
			closing, err := strconv.Atoi(row[at["closing"]])
			if err != nil {
				t.Fatal(err)
			}
			level -= mean + float64(closing%3) - 1 + 0.01*float64(i%7) + 0.3*float64(len(row[at["run"]])%2)
		case "open":
			if row[at["sweep"]] == "end" {
				level += 0.2
			}
		}
		row[at["level_dbm"]] = strconv.FormatFloat(level, 'f', 2, 64)
		if row[at["date"]] == "" {
			session, err := strconv.Atoi(strings.TrimPrefix(row[at["session"]], "session-"))
			if err != nil {
				t.Fatal(err)
			}
			row[at["date"]] = time.Date(2031, 5, session, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
		}
	}
	var b bytes.Buffer
	if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

// A sheet is refused while it is empty, with a word about the empty levels; filled
// in it is read by judge, every row of it, and has what was planned.
func TestSheetRoundTrip(t *testing.T) {
	for name, tt := range map[string]struct {
		args                               []string
		boxes, sessions, closings, gaskets int
	}{
		"alone": {[]string{"--boxes", "3", "--sessions", "2", "--closings", "4", "--gasket", "foil,mesh", "--frequencies", "100,433.92", "--positions", "latch,hinge"}, 3, 2, 4, 2},
		"named": {[]string{"--box", "007,osier", "--dates", "2031-05-04,2031-05-05", "--closings", "3", "--gasket", `"foil, thin"`, "--frequencies", "0.135,0.1", "--polarizations", "H,V"}, 2, 2, 3, 1},
		"planned": {[]string{"--box-sd", "1", "--session-sd", "0.5", "--closing-sd", "1.5", "--margin", "3", "--gasket", "foil", "--frequencies", "1000", "--seed", "9"},
			0, 0, 0, 1},
		"counted": {[]string{"--sd", "2", "--margin", "2", "--gasket", "foil", "--frequencies", "1000"}, 1, 1, 8, 1},
		"without": {[]string{"--zero-failure", "--gasket", "foil", "--frequencies", "1000"}, 1, 1, 29, 1},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "sheet.csv")
			doc, _ := plans(t, append(tt.args, "--sheet", path)...)
			empty, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			want := doc.Results[0]
			if tt.boxes == 0 {
				tt.boxes, tt.sessions, tt.closings = *want.Boxes, *want.Sessions, *want.Closings
			}
			var stdout, stderr bytes.Buffer
			if code := run([]string{"sealbound", "check", path}, nil, &stdout, &stderr); code != wrongUse || !strings.Contains(stderr.String(), "level_dbm: is empty") {
				t.Errorf("the empty sheet: exit %d, %s", code, stderr.String())
			}
			fill(t, path, 55)
			stdout.Reset()
			stderr.Reset()
			if code := run([]string{"sealbound", "judge", path, "--by", "gasket", "--bands", "all", "--format", "json"}, nil, &stdout, &stderr); code != done {
				t.Fatalf("exit %d: %s", code, stderr.String())
			}
			var judged struct {
				Inputs  []struct{ Rows, Used int }
				Results []struct {
					Boxes, Sessions, Closings, Fittings, Points int
					Group                                       struct{ Gasket string }
					MeanDB, HeadroomDB                          *float64
				}
			}
			if err := json.Unmarshal(stdout.Bytes(), &judged); err != nil {
				t.Fatal(err)
			}
			if in := judged.Inputs[0]; in.Rows != in.Used || in.Rows != bytes.Count(empty, []byte("\n"))-1 {
				t.Errorf("%+v of %d rows", in, bytes.Count(empty, []byte("\n"))-1)
			}
			if len(judged.Results) != tt.gaskets {
				t.Fatalf("%d groups", len(judged.Results))
			}
			for _, r := range judged.Results {
				// Of several products only the fitting of the last session is judged.
				sessions := tt.sessions
				if tt.gaskets > 1 {
					sessions = r.Sessions
				}
				if r.Boxes != tt.boxes || r.Sessions != sessions || r.Closings != tt.boxes*sessions*tt.closings && tt.gaskets == 1 {
					t.Errorf("%+v, planned %d boxes, %d sessions, %d closings each", r, tt.boxes, tt.sessions, tt.closings)
				}
			}
			stdout.Reset()
			if code := run([]string{"sealbound", "check", path, "--format", "json"}, nil, &stdout, &stderr); code != done {
				t.Errorf("check of the filled sheet: exit %d: %s", code, stderr.String())
			}
			again := filepath.Join(t.TempDir(), "sheet.csv")
			plans(t, append(tt.args, "--sheet", again)...)
			if second, err := os.ReadFile(again); err != nil || !bytes.Equal(second, empty) {
				t.Errorf("the same seed gave another sheet (%v)", err)
			}
		})
	}
}

// A sheet from past data repeats its boxes, products and points.
func TestSheetOfPastData(t *testing.T) {
	t.Chdir("../..")
	path := filepath.Join(t.TempDir(), "sheet.csv")
	doc, _ := plans(t, "--from", "testdata/demo", "--gasket", "as-bought rubber", "--bands", "low=1-100", "--margin", "4", "--sheet", path)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	boxes, points := map[string]bool{}, map[string]bool{}
	for _, r := range rows[1:] {
		if r[3] != "" {
			boxes[r[3]] = true
		}
		points[r[10]+r[11]] = true
		if f, err := strconv.ParseFloat(r[10], 64); err != nil || f > 100 {
			t.Errorf("frequency %q is not in the band", r[10])
		}
	}
	if len(boxes) != *doc.Results[0].Boxes || boxes["Dunmere"] {
		t.Errorf("boxes %v, planned %d", boxes, *doc.Results[0].Boxes)
	}
	if len(points) != 6 { // 7.1, 21.2 and 51 MHz at two positions
		t.Errorf("points %v", points)
	}
}

// The sheet is written whole or not at all, and never over what was read.
func TestSheetSparesFiles(t *testing.T) {
	dir := t.TempDir()
	data := filepath.Join(dir, "past.csv")
	var b strings.Builder
	b.WriteString("box,gasket,closing,freq_mhz,atten_db\n")
	for i := range 12 {
		fmt.Fprintf(&b, "b%d,foil,%d,100,%.1f\n", i/3, i%3, 55+1.3*float64(i/3%3)+0.5*float64(i%3))
	}
	if err := os.WriteFile(data, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string]struct{ args, want string }{
		"input":       {"--from " + data + " --sheet " + data, "it is one of the files that were read"},
		"folder":      {"--from " + data + " --sheet " + dir, "it is a folder"},
		"same as -o":  {"--from " + data + " --sheet " + dir + "/x.csv -o " + dir + "/./x.csv", "-o names the same file"},
		"no plan":     {"--from " + data + " --target 90 --sheet " + dir + "/y.csv", "there is no plan to write a sheet for"},
		"no folder":   {"--from " + data + " --sheet " + dir + "/none/y.csv", "does not exist"},
		"frequencies": {"--sheet " + dir + "/y.csv --boxes 1 --sessions 1 --closings 1 --gasket foil", "--frequencies is missing"},
	} {
		var stdout, stderr bytes.Buffer
		code := run(append([]string{"sealbound", "plan"}, strings.Fields(tt.args)...), nil, &stdout, &stderr)
		if code != wrongUse || stdout.Len() > 0 || !strings.Contains(stderr.String(), tt.want) {
			t.Errorf("%s: exit %d, %d bytes, %s", name, code, stdout.Len(), stderr.String())
		}
	}
	if text, err := os.ReadFile(data); err != nil || string(text) != b.String() {
		t.Errorf("the past data changed: %v", err)
	}
	if entries, err := os.ReadDir(dir); err != nil || len(entries) != 1 {
		t.Errorf("left behind: %v, %v", entries, err)
	}
}
