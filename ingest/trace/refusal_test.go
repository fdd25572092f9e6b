package trace

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"sealbound/ingest/reading"
)

const plainHeader = "freq_mhz,level_dbm\n"

// Every refusal: its place, its words, and what is left of the file.
func TestRefusals(t *testing.T) {
	long := strings.Repeat("x", MaxLine+1)
	for _, tt := range []struct {
		name, text string
		cells      []string
		want       []string // line:column and words, in order
		rows       int      // of what is left; -1: nothing
	}{
		{"empty", "", nil, []string{"a.csv: the file is empty"}, -1},
		{"byte order mark alone", "\ufeff", nil, []string{"1:1: the file has no line 1"}, -1},
		{"spreadsheet", "PK\x03\x04....", nil, []string{"1:1: the file is a spreadsheet"}, -1},
		{"UTF-32", "\xff\xfe\x00\x00f\x00\x00\x00", nil, []string{"1:1: the file is UTF-32; save it as UTF-8"}, -1},
		{"UTF-16 without mark", "f\x00r\x00", nil, []string{"1:2: a NUL byte"}, -1},
		{"UTF-16 declared, no mark", plainHeader + "1,2\n", []string{"encoding=utf-16"}, []string{"1:1: the file does not begin with the byte order mark"}, -1},
		{"UTF-16 cut", "\xff\xfef\x00r", []string{"encoding=utf-16"}, []string{"1:1: the file is UTF-16 and ends inside a character"}, -1},
		{"UTF-16 half a character", "\xfe\xff\x00f\xd8\x00\x00\n", []string{"encoding=utf-16"}, []string{"1:3: half a character"}, -1},
		{"UTF-16 carriage return alone", "\xfe\xff\x00f\x00\r\x00g\x00\n", []string{"encoding=utf-16"}, []string{"1:3: a carriage return"}, -1},
		{"UTF-16 NUL", "\xfe\xff\x00f\x00\x00\x00\n", []string{"encoding=utf-16"}, []string{"1:3: a NUL character"}, -1},
		{"UTF-16 read as Latin-1", "\xff\xfef\x00", []string{"encoding=latin-1"}, []string{"1:1: the file is UTF-16"}, -1},
		{"UTF-8 mark read as Latin-1", "\ufeff" + plainHeader + "1,2\n", []string{"encoding=latin-1"}, []string{"1:1: the file is UTF-8, as its byte order mark says; declare in runs.csv encoding=utf-8"}, -1},
		{"not UTF-8 further down", plainHeader + "1,2\n3,\xb5\n", nil, []string{"3:3: byte 0xb5 is not UTF-8; declare in runs.csv encoding=latin-1"}, -1},
		{"long line", plainHeader + long + "\n", nil, []string{"2:1: the line is longer than a megabyte"}, -1},
		{"carriage return inside", plainHeader + "1,2\r3,4\n", nil, []string{"2:4: a carriage return"}, -1},
		{"header line beyond the end", plainHeader + "1,2\n", []string{"header_line=9"}, []string{"9:1: the file has no line 9 to be its header"}, -1},
		{"footer takes all", plainHeader + "1,2\n", []string{"footer_lines=2"}, []string{"1:1: the file has no line 1"}, -1},
		{"quote in the header", "\"freq_mhz,level_dbm\n1,2\n", nil, []string{"1:1: a quote is opened and not closed"}, -1},
		{"no frequency", "time_s,level_dbm\n1,2\n", nil, []string{"1:1: \"time_s,level_dbm\": the header names no column of frequencies"}, -1},
		{"no level", "freq_hz,temp\n1,2\n", nil, []string{"1:1: \"freq_hz,temp\": the header names no column of levels"}, -1},
		{"two levels", "freq_hz,level_dbm,power_dbm\n1,2,3\n", nil, []string{"1:19: \"power_dbm\": columns 2 and 3 may both be meant; declare in runs.csv level_column=#2 or level_column=#3"}, -1},
		{"the declared column is not there", "freq_hz,level_dbm\n1,2\n", []string{"level_column=Trace 1"}, []string{"1:1: no column is named as level_column=Trace 1 says"}, -1},
		{"the declared number is not there", "freq_hz,level_dbm\n1,2\n", []string{"level_column=#3"}, []string{"1:1: level_column=#3, and the header has 2 columns"}, -1},
		{"one column for both", "freq_hz,level_dbm\n1,2\n", []string{"level_column=#1"}, []string{"1:1: \"freq_hz\": the profile declares this column for two things"}, -1},
		{"unnamed column", "freq_hz,,level_dbm\n1,2,3\n", nil, []string{"1:9: column 2 has no name"}, -1},
		{"unnamed last column with a cell", "freq_hz,level_dbm,\n1,2,\n2,3,4\n", nil, []string{"1:19: column 3 has no name, and line 3 has a cell in it"}, -1},
		{"no unit of frequency", "freq,level_dbm\n1,2\n", nil, []string{"1:1: \"freq\": the frequencies have no unit; declare in runs.csv freq_unit (hz, khz, mhz, ghz or suffix)"}, -1},
		{"no unit of level", "freq_hz,level\n1,2\n", nil, []string{"1:9: \"level\": the levels have no unit; declare in runs.csv level_unit (dBm, dBuV, dB or suffix)"}, -1},
		{"terahertz", "Freq (THz),level_dbm\n1,2\n", nil, []string{"1:1: \"Freq (THz)\": thz is no unit of frequency that is read"}, -1},
		{"field strength", "freq_hz,Level (dB\u00b5V/m)\n1,2\n", nil, []string{"1:9: \"Level (dB\u00b5V/m)\": dbuv/m is no unit of level that is read"}, -1},
		{"dB alone", "freq_hz,Level (dB)\n1,2\n", nil, []string{"1:9: \"Level (dB)\": the levels are in dB: relative to the generator (dB), or short for dBm; declare in runs.csv level_unit"}, -1},
		{"frequency unit against the header", "freq_hz,level_dbm\n1,2\n", []string{"freq_unit=MHz"}, []string{"1:1: \"freq_hz\": the file gives the frequencies in hz, the profile in mhz"}, -1},
		{"level unit against the header", "freq_hz,level_dbm\n1,2\n", []string{"level_unit=dBuV"}, []string{"1:9: \"level_dbm\": the file gives the levels in dbm, the profile in dbuv"}, -1},
		{"dBuV without its impedance", "freq_hz,Level [dBuV]\n1,2\n", nil, []string{"1:9: \"Level [dBuV]\": the levels are in dBuV, a voltage"}, -1},
		{"units row against the header", "freq_hz,level_dbm\nMHz,dBm\n1,2\n", []string{"units_row=yes"}, []string{"2:1: \"MHz\": is not the unit that the header gives"}, -1},
		{"units row with other words", "freq,level\nHz,decibels\n1,2\n", []string{"units_row=yes"}, []string{"2:4: \"decibels\": is no unit"}, -1},
		{"units row that does not fit", "freq,level\nHz\n1,2\n", []string{"units_row=yes"}, []string{"2:1: \"Hz\": the row of units does not fit"}, -1},
		{"units row undeclared", "freq,level\nHz,dBm\n1,2\n", []string{"freq_unit=hz", "level_unit=dbm"}, []string{"2:1: freq \"Hz\": is not a number: the line holds units; declare in runs.csv units_row=yes"}, 1},
		{"status undeclared", "freq_hz,level_dbm,Flag\n1,2,x\n", nil, []string{
			"1:19: \"Flag\": this column may tell which rows are not valid, and the profile does not declare it; declare in runs.csv status_column=Flag; declare in runs.csv status_good"}, -1},
		{"status without good cells", "freq_hz,level_dbm,Flag\n1,2,x\n", []string{"status_column=Flag"}, []string{"a.csv: the profile: status_column is declared, and status_good is not"}, -1},
		{"good cells without status", "freq_hz,level_dbm\n1,2\n", []string{"status_good=x"}, []string{"a.csv: the profile: status_good is declared, and status_column is not"}, -1},
		{"two meanings of the comma", "freq_hz,level_dbm\n1,2\n", []string{"decimal=comma", "thousands=comma"}, []string{"a.csv: the profile: decimal and thousands are both a comma"}, -1},
		{"no rows but blank ones", plainHeader + "\n  \n,\n", nil, []string{"1:1: no rows of data"}, -1},
		{"no rows in the second sweep", plainHeader + "1,2\n" + plainHeader, []string{"repeated_header=yes"}, []string{"3:1: no rows of data"}, -1},
		{"fewer points", plainHeader + "1,2\n2,2\n", []string{"points=3"}, []string{"3:1: points=3 is declared, and the sweep has 2 rows"}, -1},
		{"fewer points in the second sweep", plainHeader + "1,2\n2,2\n" + plainHeader + "1,2\n", []string{"points=2", "repeated_header=yes"}, []string{"5:1: points=2 is declared, and the sweep has 1 rows"}, -1},
		{"ragged rows", plainHeader + "1,2\n3\n4,5,6\n", nil, []string{"3:1: the row has 1 cells, the header 2", "4:5: the row has 3 cells, the header 2"}, 1},
		{"footer undeclared", plainHeader + "1,2\nend of trace\n", nil, []string{"3:1: the row has 1 cells, the header 2; complete the row; lines at the end that are no data are declared in runs.csv by footer_lines"}, 1},
		{"words in a row are told once", plainHeader + "1,2\nend,none\n", nil, []string{"3:1: freq_mhz \"end\": is not a number"}, 1},
		{"broken quotes", plainHeader + "\"1\"x,2\n1,\"2\n1,2\"\n1,2\n", nil, []string{"2:1: text follows the end", "3:3: a quote is opened", "4:4: a quote stands inside"}, 1},
		{"bad numbers", plainHeader + "1_0,2\n0x1,3\n2,nan\n3,inf\n4,-\n5,\n6,1e999\n-7,1\n0,1\n", nil, []string{
			"2:1: freq_mhz \"1_0\"", "3:1: freq_mhz \"0x1\"", "4:3: level_dbm \"nan\": is not a finite number; declare in runs.csv missing=nan",
			"5:3: level_dbm \"inf\": is not a finite number", "6:3: level_dbm \"-\": is not a finite number; declare in runs.csv missing=-",
			"7:3: level_dbm: is empty; declare in runs.csv missing=|", "8:3: level_dbm \"1e999\": is larger", "9:1: freq_mhz \"-7\": is not a frequency",
			"10:1: freq_mhz \"0\": is not a frequency"}, 0},
		{"many cells", plainHeader + strings.Repeat(",", MaxCells) + "x\n1,2\n", nil, []string{"2:4097: more than 4096 cells in a line"}, 1},
		{"many columns", strings.Repeat(",", MaxCells) + "x\n1,2\n", nil, []string{"1:4097: more than 4096 cells in a line"}, -1},
		{"a level out of reach", plainHeader + "1,-1001\n2,1000\n", nil, []string{"2:3: level_dbm \"-1001\": is not a level that a receiver could show"}, 1},
		{"decimal comma or thousands", "freq_mhz;level_dbm\n1,000;2\n", []string{"delimiter=;"}, []string{"2:1: freq_mhz \"1,000\": is not a number: it holds thousands separators; declare in runs.csv decimal=comma or thousands=comma"}, 0},
		{"decimal point under decimal comma", "freq_mhz;level_dbm\n1.5;2\n", []string{"delimiter=;", "decimal=comma"}, []string{"2:1: freq_mhz \"1.5\": is not a number with decimal commas, as the profile declares; declare in runs.csv decimal=point"}, 0},
		{"thousands under decimal comma", "freq_mhz;level_dbm\n1.500,25;2\n", []string{"delimiter=;", "decimal=comma"}, []string{"2:1: freq_mhz \"1.500,25\": is not a number with decimal commas, as the profile declares; declare in runs.csv thousands=point"}, 0},
		{"unit behind a number", plainHeader + "1 MHz,2 dBm\n", nil, []string{"2:1: freq_mhz \"1 MHz\": is not a number alone: something stands behind it; declare in runs.csv freq_unit=suffix", "2:7: level_dbm \"2 dBm\": is not a number alone: something stands behind it; declare in runs.csv level_unit=suffix"}, 0},
		{"no unit behind a number", "freq,level\n1,2 dBm\n2 MHz,3\n3 GHz,1 dBuV\n", []string{"freq_unit=suffix", "level_unit=suffix"}, []string{"2:1: freq \"1\": does not end in a unit of frequency", "3:7: level \"3\": does not end in a unit of level"}, 1},
		{"below what", plainHeader + "1,<\n2,<x\n3,> -3\n", []string{"limited=yes"}, []string{"2:3: level_dbm \"<\"", "3:3: level_dbm \"<x\"", "4:3: level_dbm \"> -3\""}, 0},
		{"a frequency again, out of order", plainHeader + "3,1\n1,1\n2,1\n3.0,2\n1e0,2\n", nil, []string{
			"5:1: freq_mhz \"3.0\": the frequency stands already on line 2", "6:1: freq_mhz \"1e0\": the frequency stands already on line 3"}, 3},
		{"the header again", plainHeader + "1,1\n" + plainHeader + "1,1\n2,2\n", nil, []string{"3:1: freq_mhz \"freq_mhz\": is not a number: the header stands here again"}, 1},
		{"columns count the file's bytes", "f\xe4 ;freq_hz;level_dbm\n\xe4\xe4;1;x\n", []string{"encoding=latin-1", "delimiter=;"}, []string{"2:6: level_dbm \"x\""}, 0},
		{"columns count the file's bytes in UTF-16", "\xfe\xff\x00f\x00_\x00h\x00z\x00\t\x00l\x00_\x00d\x00b\x00m\x00\n\x001\x00\t\x00x\x00\n", []string{
			"encoding=utf-16", "delimiter=tab", "freq_column=f", "level_column=#2"}, []string{"2:5: l_dbm \"x\""}, 0},
	} {
		f, count, problems := parse(t, tt.text, declared(t, tt.cells...))
		for _, p := range problems {
			if p.Mend == "" {
				t.Errorf("%s: no mend: %+v", tt.name, p)
			}
		}
		left := slices.Clone(problems)
		for _, want := range tt.want {
			if !strings.HasPrefix(want, "a.csv") {
				want = "a.csv:" + want
			}
			i := slices.IndexFunc(left, func(p reading.Problem) bool { return strings.HasPrefix(p.Error(), want) })
			if i < 0 {
				t.Errorf("%s: no problem %q among\n%s", tt.name, want, joined(problems))
				continue
			}
			left = slices.Delete(left, i, i+1)
		}
		if tt.rows >= 0 && len(left) > 0 {
			t.Errorf("%s: more problems:\n%s", tt.name, joined(left))
		}
		switch {
		case (f == nil) != (tt.rows < 0), f != nil && len(f.Rows) != tt.rows:
			t.Errorf("%s: %+v, want %d rows", tt.name, f, tt.rows)
		case f == nil && count.Refused != count.Rows-count.Blank:
			t.Errorf("%s: count %+v, want all refused", tt.name, count)
		case f != nil && len(f.Rows)+f.Excluded+f.Missing != count.Rows-count.Blank-count.Refused:
			t.Errorf("%s: %d rows, count %+v", tt.name, len(f.Rows), count)
		}
	}
}

// What a profile makes readable. Expected: the numbers as a person reads them.
func TestProfiles(t *testing.T) {
	row := func(mhz, dbm float64) Row { return Row{FreqHz: mhz * 1e6, LevelDBm: dbm} }
	for _, tt := range []struct {
		name, text string
		cells      []string
		want       []Row // their frequency, level and limit
		notes      string
	}{
		{"our own names need no profile", "freq_mhz,level_dbm\n30,-1\n", nil, []Row{row(30, -1)}, ""},
		{"our own name of dBuV means 50 ohm", "freq_ghz,level_dbuv\n0.43392,106.98970004336019\n", nil, []Row{row(433.92, 0)}, ""},
		{"known names in several forms", "Freq MHz,Level [dBm]\r\n30,-1\r\n", nil, []Row{row(30, -1)}, ""},
		{"exact hertz", "freq_mhz,level_dbm\n433.920001,-1\n", nil, []Row{{FreqHz: 433920001, LevelDBm: -1}}, ""},
		{"other columns are named", "Point,freq_mhz,level_dbm,Note\n1,30,-1,\"a, b\"\n", nil, []Row{row(30, -1)}, "columns ignored: Point, Note"},
		{"order is kept", "freq_mhz,level_dbm\n60,-1\n30,-2\n", nil, []Row{row(60, -1), row(30, -2)}, "the frequencies do not ascend; they are kept in their order"},
		{"blank rows", "freq_mhz,level_dbm\n\n30,-1\n , \n60,-2\n", nil, []Row{row(30, -1), row(60, -2)}, ""},
		{"the unnamed last column", "freq_mhz,level_dbm,\n30,-1,\n", nil, []Row{row(30, -1)}, "the last column is unnamed and empty in every row"},
		{"columns by name, by name without unit, by number", "x (MHz);Trace (dBm);Trace (dBm)\n30;1;-1\n", []string{"delimiter=semicolon", "freq_column=X", "level_column=#3"}, []Row{row(30, -1)}, "columns ignored: Trace (dBm)"},
		{"the whole name before its beginning", "f (MHz),f (MHz) level,y\n30,-1,2\n", []string{"freq_column=f (mhz)", "level_column=F (MHz) level", "level_unit=dBm"}, []Row{row(30, -1)}, "columns ignored: y"},
		{"points and tabs", "freq_mhz\tlevel_dbm\n1.000,5\t-1\n", []string{"delimiter=tab", "decimal=comma", "thousands=point"}, []Row{row(1000.5, -1)}, ""},
		{"blanks between the cells", "  freq_mhz   level_dbm\n  30\t -1  \n", []string{"delimiter=space"}, []Row{row(30, -1)}, ""},
		{"quoted cells between blanks", "\"freq mhz\" level_dbm\n\"30\" -1\n", []string{"delimiter=space"}, []Row{row(30, -1)}, ""},
		{"bars", "freq_mhz|level_dbm\n30|-1\n", []string{"delimiter=|"}, []Row{row(30, -1)}, ""},
		{"thin blanks and apostrophes in digits", "freq_hz;level_dbm\n30\u202f000\u00a0000;-1\n60 000 000;-2\n", []string{"delimiter=;", "thousands=space"}, []Row{row(30, -1), row(60, -2)}, ""},
		{"apostrophes", "freq_hz,level_dbm\n30'000'000,-1\n1\u2019000\u2019000e1,-2\n", []string{"thousands='"}, []Row{row(30, -1), row(10, -2)}, "the frequencies do not ascend; they are kept in their order"},
		{"footer", "freq_mhz,level_dbm\n30,-1\n\nend\n", []string{"footer_lines=2"}, []Row{row(30, -1)}, ""},
		{"no level taken", "freq_mhz,level_dbm\n30,---\n60,\n90,-1\n", []string{"missing=---|"}, []Row{row(90, -1)}, "rows without a level: 2"},
		{"points count all rows", "freq_mhz,level_dbm,Status\n30,---,OK\n60,x,bad\n90,-1,OK\n", []string{"missing=---", "points=3", "status_column=Status", "status_good=OK|Fine"}, []Row{row(90, -1)}, "rows left out for their status: 1; rows without a level: 1"},
		{"an empty status that is good", "freq_mhz,level_dbm,Status\n30,-1,\n60,x,OVL\n", []string{"status_column=#3", "status_good=|"}, []Row{row(30, -1)}, "rows left out for their status: 1"},
		{"upper bounds", "freq_mhz;level_dbm\n30;<-120,5\n60;\u2264 -119\n", []string{"delimiter=;", "limited=yes", "decimal=comma"}, []Row{{30e6, -120.5, true, 0, 0}, {60e6, -119, true, 0, 0}}, ""},
		{"upper bounds with units", "freq_mhz;level\n60;\u2264 -119,5 dBm\n90;<= 0 dB\u03bcV\n", []string{"delimiter=;", "limited=yes", "decimal=comma", "level_unit=suffix"}, []Row{{60e6, -119.5, true, 0, 0}, {90e6, -106.98970004336019, true, 0, 0}}, ""},
		{"units in a row, also of other columns", "freq,level,t\nMHz,dB\u00b5V,s\n30,106.98970004336019,9\n", []string{"units_row=yes", "level_unit=dBuV"}, []Row{row(30, 0)}, "columns ignored: t"},
		{"sweeps with their units", "freq,level\nMHz,dBm\n30,-1\nfreq,level\nMHz,dBm\n30,-2\n", []string{"units_row=yes", "repeated_header=yes"}, []Row{row(30, -1), row(30, -2)}, "sweeps in one file: 2"},
		{"dB is made precise", "freq_mhz,Level (dB)\n30,-1\n", []string{"level_unit=dBm"}, []Row{row(30, -1)}, ""},
		{"UTF-16, high byte first", "\xfe\xff\x00f\x00_\x00h\x00z\x00,\x00l\x00_\x00d\x00b\x00m\x00\r\x00\n\x001\x00,\x00-\x001", []string{"encoding=utf-16", "freq_column=f", "level_column=l"}, []Row{{FreqHz: 1, LevelDBm: -1}}, ""},
		{"a character beyond the first plane", "\xff\xfe\x3d\xd8\x00\xde\n\x00f\x00_\x00h\x00z\x00,\x00l\x00_\x00d\x00b\x00m\x00\n\x001\x00,\x002\x00", []string{"encoding=utf-16", "header_line=2", "freq_column=f", "level_column=l"}, []Row{{FreqHz: 1, LevelDBm: 2}}, ""},
	} {
		f, count, problems := parse(t, tt.text, declared(t, tt.cells...))
		if f == nil || len(problems) > 0 || len(f.Rows) != len(tt.want) || count.Refused > 0 {
			t.Errorf("%s: %+v, want %d rows\n%s", tt.name, f, len(tt.want), joined(problems))
			continue
		}
		for i, want := range tt.want {
			got := f.Rows[i]
			if got.FreqHz != want.FreqHz || math.Abs(got.LevelDBm-want.LevelDBm) > 1e-12 || got.Limited != want.Limited {
				t.Errorf("%s: row %d is %+v, want %+v", tt.name, i, got, want)
			}
		}
		if got := tolerated(f); got != tt.notes {
			t.Errorf("%s: notes %q, want %q", tt.name, got, tt.notes)
		}
	}
}

// tolerated words what a file says beside its rows.
func tolerated(f *File) string {
	var notes []string
	add := func(holds bool, format string, values ...any) {
		if holds {
			notes = append(notes, fmt.Sprintf(format, values...))
		}
	}
	add(f.Trailing, "the last column is unnamed and empty in every row")
	add(f.Excluded > 0, "rows left out for their status: %d", f.Excluded)
	add(f.Missing > 0, "rows without a level: %d", f.Missing)
	add(len(f.Ignored) > 0, "columns ignored: %s", strings.Join(f.Ignored, ", "))
	add(f.Unsorted, "the frequencies do not ascend; they are kept in their order")
	add(f.Sweeps > 1, "sweeps in one file: %d", f.Sweeps)
	return strings.Join(notes, "; ")
}

func TestLimits(t *testing.T) {
	problems := reading.Problems{Limit: 9}
	p := parser{data: []byte(plainHeader + "1,1\n2,1\n3,1\n"), file: &File{Name: "a.csv"}, problems: &problems, mostRows: 2}
	f, count, err := p.parse()
	all, _ := problems.Sorted()
	if f != nil || err != nil || len(all) != 1 || !strings.HasPrefix(all[0].Error(), "a.csv:4:1: more than 2 rows") || count.Refused != 3 {
		t.Errorf("%+v %+v %v\n%s", f, count, err, joined(all))
	}
}
