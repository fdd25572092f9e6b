package trace

import (
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// looking finds the files that exist.
func looking(exists func(string) bool) func(string) *cell.Fault {
	if exists == nil {
		return nil
	}
	return func(file string) *cell.Fault {
		if exists(file) {
			return nil
		}
		return &cell.Fault{What: "there is no such file", Mend: "correct the name"}
	}
}

func parseTable(t *testing.T, text string, exists func(string) bool) (*Runs, reading.Count, []reading.Problem) {
	t.Helper()
	problems := reading.Problems{Limit: 100}
	runs, count, err := ParseRuns(strings.NewReader(text), "runs.csv", looking(exists), &problems)
	if err != nil {
		t.Fatal(err)
	}
	all, _ := problems.Sorted()
	return runs, count, all
}

// A campaign of our own invention.
func TestRuns(t *testing.T) {
	const text = "File,RUN,date,serial,gasket,fitting,installed,closing,state,position,pol,operator,weather,floor_dbuv,gain_db,encoding,delimiter,decimal,thousands,header_line,units_row,freq_column,level_column,freq_unit,level_unit,missing,footer_lines,points,status_column,status_good,freq_tolerance_hz,limited,repeated_header\n" +
		"open/a.csv,R1,2026-05-04,,,,,,Reference,,,Kim,,,,,,,,,,,,,,,,,,,,,\n" +
		"\n" +
		"closed\\b.csv,R1,2026-05-04,007,mesh,f2,2025-11-30,3,sealed,lid,H,Kim,rain,-3,10,Latin-1,;,comma,.,8,yes,Frequenz,#2,MHz,dBuV,---|,2,201,Status,OK|ok,1e3,yes,no\n"
	runs, count, problems := parseTable(t, text, func(file string) bool { return file == "open/a.csv" || file == "closed/b.csv" })
	if runs == nil || len(problems) > 0 {
		t.Fatalf("%+v\n%s", runs, joined(problems))
	}
	day := func(text string) cell.Day {
		d, fault := cell.ParseDay([]byte(text))
		if fault != nil {
			t.Fatal(fault)
		}
		return d
	}
	want := &Runs{
		Rows: []Run{
			{Line: 2, File: "open/a.csv", Run: "R1", Date: day("2026-05-04"), Installed: cell.NoDay, State: "open",
				More: []Label{{reading.Operator, "Kim"}}, Profile: &Profile{}},
			{Line: 4, File: "closed/b.csv", Run: "R1", Date: day("2026-05-04"), Installed: day("2025-11-30"), Box: "007", Gasket: "mesh",
				Fitting: "f2", Closing: "3", State: "closed", Position: "lid", Polarization: "H", More: []Label{{reading.Operator, "Kim"}},
				Figures: []Figure{{reading.Floor, reading.DBm, -3 + reading.DBuV.Offset()}, {reading.Gain, reading.NoUnit, 10}}, Profile: &Profile{
					Encoding: "latin-1", Delimiter: "semicolon", Decimal: "comma", Thousands: "point", HeaderLine: 8, UnitsRow: true,
					FreqColumn: "Frequenz", LevelColumn: "#2", FreqUnit: "mhz", LevelUnit: "dBuV", Missing: []string{"---", ""},
					FooterLines: 2, Points: 201, StatusColumn: "Status", StatusGood: []string{"OK", "ok"}, FreqToleranceHz: 1000, Limited: true}},
		},
		Unused: []string{"weather"},
	}
	if !reflect.DeepEqual(runs.Rows, want.Rows) || !slices.Equal(runs.Unused, want.Unused) {
		t.Errorf("got  %+v\nwant %+v", runs, want)
	}
	if want := (reading.Count{Rows: 3, Blank: 1}); count != want {
		t.Errorf("count %+v, want %+v", count, want)
	}
	// The cells of a profile read back as the same profile.
	var again Profile
	for _, c := range runs.Rows[1].Profile.Cells() {
		if fault := again.Set(c.Column, c.Value); fault != nil {
			t.Errorf("%v: %+v", c, fault)
		}
	}
	if !reflect.DeepEqual(&again, runs.Rows[1].Profile) {
		t.Errorf("read back: %+v", again)
	}
	if got := len(Columns()); got != len(runs.Rows[1].Profile.Cells())+1 { // all but repeated_header
		t.Errorf("%d columns, %d cells declared", got, len(runs.Rows[1].Profile.Cells()))
	}
}

func TestRunsRefusals(t *testing.T) {
	for _, tt := range []struct {
		name, text string
		want       []string
		rows       int // -1: nothing
	}{
		{"empty", "", []string{"runs.csv: the file is empty"}, -1},
		{"blank", "\n ,\n", []string{"runs.csv:1:1: the file holds blank lines only"}, -1},
		{"header alone", "file,run\n\n", []string{"runs.csv:1:1: no rows below the header"}, 0},
		{"UTF-16", "\xff\xfef\x00", []string{"runs.csv:1:1: the file is UTF-16"}, -1},
		{"broken header", "file,\"run\na.csv,1\n", []string{"runs.csv:1:6: a quote is opened"}, -1},
		{"semicolons", "file;run\na.csv;1\n", []string{"runs.csv:1:1: \"file;run\": the column file is missing; add a column file with the names of the trace files; its cells have commas"}, -1},
		{"Latin-1", "file,run\na.csv,\xe4\n", []string{"runs.csv:2:7: byte 0xe4 is not UTF-8; save runs.csv as"}, -1},
		{"no file column", "run,date\n1,2026-05-04\n", []string{"runs.csv:1:1: \"run,date\": the column file is missing"}, -1},
		{"column twice", "file,box,serial\na.csv,1,2\n", []string{"runs.csv:1:10: \"serial\": the header names this column twice, first as column 2"}, -1},
		{"ignored column twice", "file,x,x\na.csv,1,2\n", []string{"runs.csv:1:8: \"x\": the header names this column twice"}, -1},
		{"unnamed column", "file,\na.csv,\n", []string{"runs.csv:1:6: column 2 of the header has no name"}, -1},
		{"file twice", "file\na.csv\nx/../a.csv\nb.csv\n", []string{"runs.csv:3:1: file \"x/../a.csv\": the file has a row already, on line 2"}, 2},
		{"no such file", "file\na.csv\ngone.csv\n", []string{"runs.csv:3:1: file \"gone.csv\": there is no such file"}, 1},
		{"no file named", "file,run\n,1\na.csv,2\n", []string{"runs.csv:2:1: file: is empty"}, 1},
		{"outside", "file\n/etc/a.csv\n../a.csv\nC:\\a.csv\n.\na.csv\n", []string{
			"runs.csv:2:1: file \"/etc/a.csv\": is no file within", "runs.csv:3:1: file \"../a.csv\": is no file within",
			"runs.csv:4:1: file \"C:\\\\a.csv\": is no file within", "runs.csv:5:1: file \".\": is no file within"}, 1},
		{"ragged", "file,run\na.csv\nb.csv,1\n", []string{"runs.csv:2:1: the row has 1 cells, the header 2"}, 1},
		{"broken quotes", "file,run\na.csv,\"1\nb.csv,1\n", []string{"runs.csv:2:7: a quote is opened"}, 1},
		{"cells", "file,date,installed,state,encoding,delimiter,header_line,units_row,freq_tolerance_hz,points\na.csv,4.5.2026,2026-02-30,ajar,ebcdic,x,0,2,-1,+5\n", []string{
			"runs.csv:2:7: date \"4.5.2026\": is not a date", "runs.csv:2:16: installed \"2026-02-30\": is a date that the calendar",
			"runs.csv:2:27: state \"ajar\": is an unknown state", "runs.csv:2:32: encoding \"ebcdic\": is no encoding that is read; write utf-8, latin-1 or utf-16",
			"runs.csv:2:39: delimiter \"x\": is no delimiter", "runs.csv:2:41: header_line \"0\": is not a whole number from 1",
			"runs.csv:2:43: units_row \"2\": is neither yes nor no", "runs.csv:2:45: freq_tolerance_hz \"-1\": is negative", "runs.csv:2:48: points \"+5\": is not a whole number"}, 0},
		{"a profile against itself", "file,decimal,thousands\na.csv,comma,comma\n", []string{"runs.csv:2:1: decimal and thousands are both a comma"}, 0},
	} {
		runs, count, problems := parseTable(t, tt.text, func(file string) bool { return file != "gone.csv" })
		if len(problems) != len(tt.want) {
			t.Errorf("%s: want %d problems; got\n%s", tt.name, len(tt.want), joined(problems))
			continue
		}
		for i, want := range tt.want {
			if !strings.HasPrefix(problems[i].Error(), want) || problems[i].Mend == "" {
				t.Errorf("%s: want %q; got\n\t%v", tt.name, want, problems[i])
			}
		}
		switch {
		case (runs == nil) != (tt.rows < 0), runs != nil && len(runs.Rows) != tt.rows:
			t.Errorf("%s: %+v, want %d rows", tt.name, runs, tt.rows)
		case runs == nil && count.Refused != count.Rows-count.Blank,
			runs != nil && len(runs.Rows) != count.Rows-count.Blank-count.Refused:
			t.Errorf("%s: count %+v", tt.name, count)
		}
	}
}

func TestRunsLimit(t *testing.T) {
	const text = "file\na.csv\nb.csv\nc.csv\n"
	problems := reading.Problems{Limit: 9}
	r := newRunsReader("runs.csv", &problems)
	r.most = 2
	runs, count := r.read([]byte(text), nil)
	all, _ := problems.Sorted()
	if runs != nil || count.Refused != 3 || len(all) != 1 || !strings.HasPrefix(all[0].Error(), "runs.csv:4:1: more than 2 rows") {
		t.Errorf("%+v %+v\n%s", runs, count, joined(all))
	}
}

func TestRunsFailingSource(t *testing.T) {
	broken := errors.New("the disk is gone")
	var problems reading.Problems
	if runs, _, err := ParseRuns(iotest.ErrReader(broken), "runs.csv", nil, &problems); runs != nil || !errors.Is(err, broken) {
		t.Errorf("%+v, %v; want the source's error", runs, err)
	}
}

func TestSet(t *testing.T) {
	var p Profile
	if fault := p.Set("colour", "red"); fault == nil {
		t.Error("a column that is not there was taken")
	}
	for _, column := range Columns() {
		if fault := p.Set(column, ""); fault != nil {
			t.Errorf("%s: an empty cell: %+v", column, fault)
		}
	}
	if !reflect.DeepEqual(p, Profile{}) || len(p.Cells()) > 0 || slices.Contains(Columns(), "file") {
		t.Errorf("%+v declares something", p)
	}
}

// Thousands of traces are written alike.
func TestSharedProfiles(t *testing.T) {
	runs, _, problems := parseTable(t, "file,delimiter,points\na.csv,;,9\nb.csv,;,9\nc.csv,;,8\nd.csv,;,0\ne.csv,;,0\n", nil)
	if len(problems) != 2 || len(runs.Rows) != 3 || runs.Rows[0].Profile != runs.Rows[1].Profile || runs.Rows[2].Profile.Points != 8 {
		t.Errorf("%+v\n%s", runs, joined(problems))
	}
}

func TestManyProblems(t *testing.T) {
	const rows = mostProblems + 500
	problems := reading.Problems{Limit: 2 * rows}
	text := "file\n" + strings.Repeat("..\n", rows)
	_, count, _ := ParseRuns(strings.NewReader(text), "runs.csv", nil, &problems)
	f, traced, _ := Parse(strings.NewReader(plainHeader+strings.Repeat("x,1\n", rows)), "a.csv", Profile{}, &problems)
	all, omitted := problems.Sorted()
	if len(all) != 2*(mostProblems+1) || omitted != 0 || count.Refused != rows || f == nil || traced.Refused != rows {
		t.Fatalf("%d problems, %d omitted, counts %+v %+v", len(all), omitted, count, traced)
	}
	for _, p := range []reading.Problem{all[mostProblems], all[2*mostProblems+1]} {
		if !strings.Contains(p.What, "more than 10000 problems") || p.Line != mostProblems+2 {
			t.Errorf("%v", p)
		}
	}
}
