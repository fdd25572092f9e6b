package campaign

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"sealbound/stats/simulate"
)

// readAll returns the records of a CSV file as maps from column to cell, and
// its header.
func readAll(t *testing.T, path string) ([]map[string]string, []string) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, record := range records[1:] {
		row := map[string]string{}
		for i, name := range records[0] {
			row[name] = record[i]
		}
		rows = append(rows, row)
	}
	return rows, records[0]
}

func small(t *testing.T) Options {
	t.Helper()
	o := DefaultOptions()
	o.Boxes, o.Sessions, o.Closings, o.Frequencies = 2, 3, 2, 4
	return o
}

func write(t *testing.T, s simulate.Settings, l Layout) string {
	t.Helper()
	dir := t.TempDir()
	if err := Write(dir, s, l, false); err != nil {
		t.Fatal(err)
	}
	return dir
}

// Every row holds what the simulation drew, to the decimals that were asked for.
func TestRowsAreTheReadings(t *testing.T) {
	o := small(t)
	o.Positions, o.Polarized, o.Sweeps, o.Files, o.ClosedGainDB, o.MissingShare = 2, 2, 2, OneFile, 20, 0.1
	s, l, err := o.Settings()
	if err != nil {
		t.Fatal(err)
	}
	l.Session, l.FreqColumn = true, "freq_mhz"
	l.Fields = []Field{{"receiver", "RX, the old one"}, {"rbw_hz", "100"}}
	rows, header := readAll(t, filepath.Join(write(t, s, l), "readings.csv"))
	want := "run session date box gasket fitting installed closing sweep state gain_db freq_mhz position polarization level_dbm receiver rbw_hz"
	if got := strings.Join(header, " "); got != want {
		t.Fatalf("columns %s, want %s", got, want)
	}
	c, err := simulate.New(s)
	if err != nil {
		t.Fatal(err)
	}
	at := 0
	for run, r := range c.Runs() {
		err := c.EachSweep(run, func(sweep simulate.Sweep) error {
			for i, level := range sweep.LevelDBM {
				if math.IsNaN(level) {
					continue
				}
				p, e := s.Points[i], s.Sessions[r.Session]
				expect := map[string]string{
					"run": r.Label, "session": e.Name(), "date": e.Date.Format("2006-01-02"), "state": []string{"open", "closed", "floor"}[sweep.State],
					"box": "", "gasket": "", "fitting": "", "installed": "", "closing": "", "sweep": "",
					"gain_db": fmt.Sprint(sweep.GainDB), "freq_mhz": strconv.FormatFloat(p.FreqHz/1e6, 'f', -1, 64),
					"position": p.Position, "polarization": p.Polarization, "level_dbm": rows[at]["level_dbm"],
					"receiver": "RX, the old one", "rbw_hz": "100",
				}
				switch sweep.State {
				case simulate.Open:
					expect["sweep"] = []string{"start", "end"}[sweep.Number-1]
				case simulate.Closed:
					v := c.Visits()[sweep.Visit]
					expect["box"], expect["gasket"], expect["fitting"] = s.Boxes[v.Box].Label, s.Products[v.Product].Label, v.FittingLabel
					expect["installed"], expect["closing"], expect["sweep"] = v.Installed.Format("2006-01-02"), fmt.Sprint(sweep.Closing), fmt.Sprint(sweep.Number)
				}
				if !reflect.DeepEqual(rows[at], expect) {
					return fmt.Errorf("row %d: %v, want %v", at+1, rows[at], expect)
				}
				got, err := strconv.ParseFloat(rows[at]["level_dbm"], 64)
				if err != nil || math.Abs(got-level) > 0.005+1e-9 || len(rows[at]["level_dbm"])-strings.Index(rows[at]["level_dbm"], ".") != 3 {
					return fmt.Errorf("row %d: level %q, want %v to two decimals", at+1, rows[at]["level_dbm"], level)
				}
				at++
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if at != len(rows) {
		t.Errorf("%d rows, %d readings", len(rows), at)
	}
}

// Columns that carry nothing are left out.
func TestSparseColumns(t *testing.T) {
	o := small(t)
	o.Files, o.OpenRepeats, o.NoFloor = OneFile, 1, true
	s, l, err := o.Settings()
	if err != nil {
		t.Fatal(err)
	}
	l.Fitting, l.Installed = false, false
	rows, header := readAll(t, filepath.Join(write(t, s, l), "readings.csv"))
	if got, want := strings.Join(header, " "), "run date box gasket closing state freq_hz level_dbm"; got != want {
		t.Errorf("columns %s, want %s", got, want)
	}
	// 2 boxes in 3 sessions: 6 runs of an open sweep and 2 closings at 4 frequencies.
	if len(rows) != 6*3*4 {
		t.Errorf("%d rows, want 72", len(rows))
	}
}

// The floor stands beside each closed reading and nowhere else.
func TestFloorColumn(t *testing.T) {
	o := small(t)
	o.Files, o.FloorSDDB = OneFile, 0
	s, l, err := o.Settings()
	if err != nil {
		t.Fatal(err)
	}
	l.Floor = FloorColumn
	rows, _ := readAll(t, filepath.Join(write(t, s, l), "readings.csv"))
	for _, r := range rows {
		want := ""
		if r["state"] == "closed" {
			want = "-110.00"
		}
		if r["state"] == "floor" || r["floor_dbm"] != want {
			t.Fatalf("%v", r)
		}
	}
}

// However the readings are divided, they are the same readings.
func TestDivisions(t *testing.T) {
	o := small(t)
	s, l, err := o.Settings()
	if err != nil {
		t.Fatal(err)
	}
	var first []string
	for files, names := range map[Files]string{
		OneFile:    "readings.csv",
		PerSession: "session-2020-04-04.csv session-2020-10-03.csv session-2021-04-03.csv",
		PerRun: "run-2020-04-04-box-1.csv run-2020-04-04-box-2.csv run-2020-10-03-box-1.csv " +
			"run-2020-10-03-box-2.csv run-2021-04-03-box-1.csv run-2021-04-03-box-2.csv",
	} {
		l.Files = files
		dir := write(t, s, l)
		var lines []string
		for _, name := range strings.Fields(names) {
			body, err := os.ReadFile(filepath.Join(dir, name))
			if err != nil {
				t.Fatal(err)
			}
			lines = append(lines, strings.Split(strings.TrimSuffix(string(body), "\n"), "\n")[1:]...)
		}
		if first == nil {
			first = lines
		}
		if !reflect.DeepEqual(lines, first) {
			t.Errorf("%v: other readings", files)
		}
		want := len(strings.Fields(names)) + 5 // boxes, gaskets, events, setup, truth
		if got := len(contents(t, dir)); got != want {
			t.Errorf("%v: %d files, want %d", files, got, want)
		}
	}
}

// Labels that CSV or a file system would trip over come back as they were.
func TestAwkwardLabels(t *testing.T) {
	s, l, err := small(t).Settings()
	if err != nil {
		t.Fatal(err)
	}
	s.Boxes[0].Label, s.Boxes[1].Label = `a "tall", old/../one`, "a -tall--- old----one"
	s.Products[0].Label = " felt\n"
	for i := range s.Boxes {
		for j := range s.Boxes[i].Fittings {
			if f := &s.Boxes[i].Fittings[j]; f.Product == "as-bought rubber" {
				f.Product = " felt\n"
			}
		}
	}
	l.Files = PerRun
	dir := write(t, s, l)
	boxes, gaskets := map[string]int{}, map[string]int{}
	files := 0
	for name := range contents(t, dir) {
		if !strings.HasPrefix(name, "run-") {
			continue
		}
		files++
		rows, _ := readAll(t, filepath.Join(dir, name))
		for _, r := range rows {
			boxes[r["box"]]++
			gaskets[r["gasket"]]++
		}
	}
	if files != 6 || boxes[s.Boxes[0].Label] == 0 || boxes[s.Boxes[1].Label] == 0 || gaskets[" felt\n"] == 0 {
		t.Errorf("%d files, boxes %v, gaskets %v", files, boxes, gaskets)
	}
	taken := map[string]bool{}
	for _, label := range []string{"A b", "a-b", "a/b", "A-B-2"} {
		fileName("run-", label, taken)
	}
	if len(taken) != 4 {
		t.Errorf("names that differ in more than case: %v", taken)
	}
}

func TestSideTables(t *testing.T) {
	o := small(t)
	o.Controls = 1
	s, l, err := o.Settings()
	if err != nil {
		t.Fatal(err)
	}
	l.Boxes = []BoxRow{{Box: "box-2", Type: "tall", PerimeterMM: 1200.5}}
	l.Gaskets = []GasketRow{{Gasket: "product-1", StripLengthMM: 1000, StripPrice: 9.5, Currency: "EUR"}}
	dir := write(t, s, l)
	boxes, _ := readAll(t, filepath.Join(dir, "boxes.csv"))
	want := []map[string]string{
		{"box": "box-1", "role": "test", "type": "", "perimeter_mm": "", "channel_width_mm": "", "channel_depth_mm": ""},
		{"box": "box-2", "role": "test", "type": "tall", "perimeter_mm": "1200.5", "channel_width_mm": "", "channel_depth_mm": ""},
		{"box": "control-1", "role": "control", "type": "", "perimeter_mm": "", "channel_width_mm": "", "channel_depth_mm": ""},
	}
	if !reflect.DeepEqual(boxes, want) {
		t.Errorf("boxes.csv: %v", boxes)
	}
	gaskets, _ := readAll(t, filepath.Join(dir, "gaskets.csv"))
	if len(gaskets) != 3 || gaskets[1]["gasket"] != "product-1" || gaskets[1]["strip_price"] != "9.5" || gaskets[2]["currency"] != "" {
		t.Errorf("gaskets.csv: %v", gaskets)
	}
	// Three products in turn in two boxes: two replacements each.
	events, _ := readAll(t, filepath.Join(dir, "events.csv"))
	if len(events) != 4 || events[0]["event"] != "replaced" || events[0]["date"] != "2020-10-03" || events[0]["box"] != "box-1" {
		t.Errorf("events.csv: %v", events)
	}
	setup, _ := readAll(t, filepath.Join(dir, "setup.csv"))
	if len(setup) != 1 || !strings.Contains(setup[0]["value"], "made-up") {
		t.Errorf("setup.csv does not say that the data are made up: %v", setup)
	}
	var truth simulate.Truth
	body, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(body, &truth); err != nil {
		t.Fatal(err)
	}
	c, err := simulate.New(s)
	if err != nil {
		t.Fatal(err)
	}
	expected, err := c.Truth(s.Sessions[2].Date, 0.90)
	if err != nil || !reflect.DeepEqual(truth, expected) {
		t.Errorf("truth.json differs from the campaign's truth on its last day (%v)", err)
	}
}

// The writer's error reaches the caller.
func TestWriterFails(t *testing.T) {
	s, l, err := small(t).Settings()
	if err != nil {
		t.Fatal(err)
	}
	c, err := simulate.New(s)
	if err != nil {
		t.Fatal(err)
	}
	if err := newRowWriter(c, &l).file(broken{}, []int{0}); err == nil {
		t.Error("a broken writer went unnoticed")
	}
}

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, errors.New("broken") }

func TestLayoutRefusals(t *testing.T) {
	s, good, err := small(t).Settings()
	if err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(*Layout){
		"division":  func(l *Layout) { l.Files = 9 },
		"floor":     func(l *Layout) { l.Floor = -1 },
		"no csv":    func(l *Layout) { l.Files, l.Name = OneFile, "readings.txt" },
		"a path":    func(l *Layout) { l.Files, l.Name = OneFile, "../readings.csv" },
		"side":      func(l *Layout) { l.Files, l.Name = OneFile, "Boxes.csv" },
		"decimals":  func(l *Layout) { l.Decimals = 10 },
		"frequency": func(l *Layout) { l.FreqColumn = "freq_thz" },
		"field":     func(l *Layout) { l.Fields = []Field{{"", "x"}} },
		"share":     func(l *Layout) { l.Truth.Share = 1 },
	} {
		l := good
		change(&l)
		dir := filepath.Join(t.TempDir(), "new")
		if err := Write(dir, s, l, false); err == nil {
			t.Errorf("%s: written", name)
		}
		if _, err := os.Stat(dir); !os.IsNotExist(err) {
			t.Errorf("%s: refused, yet the folder was made", name)
		}
	}
	if err := Write(t.TempDir(), simulate.Settings{}, good, false); err == nil {
		t.Error("empty settings were written")
	}
	for _, f := range []Files{OneFile, PerSession, PerRun} {
		if got, err := ParseFiles(f.String()); err != nil || got != f {
			t.Errorf("%v reads back as %v (%v)", f, got, err)
		}
	}
	if _, err := ParseFiles("box"); err == nil {
		t.Error("files by box were accepted")
	}
}

// Expected: strconv's decimals, which round the same unless a tie is near.
func TestAppendFixed(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200_000 {
		x, decimals := rng.Float64()*300-200, rng.IntN(7)
		if got, want := string(appendFixed(nil, x, decimals)), strconv.FormatFloat(x, 'f', decimals, 64); got != want && math.Trunc(x) != 0 {
			t.Fatalf("%v with %d decimals: %s, want %s", x, decimals, got, want)
		}
	}
	for _, tt := range []struct {
		x        float64
		decimals int
		want     string
	}{
		{-0.001, 2, "0.00"}, {0, 2, "0.00"}, {-0.994, 2, "-0.99"}, {-0.996, 2, "-1.00"}, {99.999, 2, "100.00"},
		{-7.5, 0, "-8"}, {1e300, 2, strconv.FormatFloat(1e300, 'f', 2, 64)}, {-0.05, 1, "-0.1"}, {12.000000001, 9, "12.000000001"},
	} {
		if got := string(appendFixed(nil, tt.x, tt.decimals)); got != tt.want {
			t.Errorf("%v with %d decimals: %s, want %s", tt.x, tt.decimals, got, tt.want)
		}
	}
}
