package ingest

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const (
	head = "run,box,gasket,closing,state,freq_mhz,level_dbm\n"
	open = "a,,,,open,100,-31\n"
	shut = "a,B,G,1,closed,100,-59\n"
	ok   = head + open + shut
	// the same, with a column that tells of limits
	limits = "run,box,gasket,closing,state,freq_mhz,level_dbm,limited\na,,,,open,100,-20,\na,B,G,1,closed,100,-60,\n"
)

// Every kind of damage, and where it must be found: line:column field text, and
// words of what is wrong and of the mend.
var damage = []struct {
	name, text string
	want       []string // line:column field "text" | words of the problem | words of the mend
	skipped    int      // rows that are lost with SkipBadRows
}{
	{"an empty file", "", []string{`0:0  "" | is empty | header`}, 0},
	{"blank lines only", "\n ,\n", []string{`0:0  "" | blank lines only | header`}, 0},
	{"a header alone", head, []string{`1:0  "" | no rows | readings`}, 0},
	{"a header alone, below a blank line", "\n" + head, []string{`2:0  "" | no rows | readings`}, 0},

	{"UTF-16", "\xff\xfer\x00u\x00n\x00", []string{`1:1  "" | UTF-16 | UTF-8`}, 0},
	{"Latin-1 in a label", ok + "a,M\xfcll,G,2,closed,100,-60\n", []string{`4:4  "" | 0xfc | UTF-8`}, 1},
	{"Latin-1 in the header", "run,M\xfcll\n" + open, []string{`1:6  "" | 0xfc | UTF-8`}, 1},
	{"a zero byte", ok + "a,B\x00,G,2,closed,100,-60\n", []string{`4:4  "" | zero byte | UTF-8`}, 1},
	{"CR line ends", strings.ReplaceAll(ok, "\n", "\r"), []string{`1:48  "" | carriage return | LF`}, 0},
	{"a lone CR", ok + "a,B\r,G,2,closed,100,-60\n", []string{`4:4  "" | carriage return | LF`}, 1},
	{"semicolons", strings.ReplaceAll(ok, ",", ";"), []string{`1:1  "run;box;gasket;closing;state;freq_mhz;level_dbm" | semicolons | commas`}, 2},
	{"semicolons and decimal commas", "state;freq_mhz;level_dbm\nopen;30,5;-31,2\n", []string{`1:1  "state;freq_mhz;level_dbm" | semicolons | decimal points`}, 1},
	{"tabs", strings.ReplaceAll(ok, ",", "\t"), []string{"1:1  \"run\\tbox\\tgasket\\tclosing\\tstate\\tfreq_mhz\\tlevel_dbm\" | tabs | commas"}, 2},
	{"bars", strings.ReplaceAll(ok, ",", "|"), []string{`1:1  "run|box|gasket|closing|state|freq_mhz|level_dbm" | bars | commas`}, 2},
	{"lines above the header", "Report of May\n\n" + ok, []string{`1:1  "" | line 3 | remove`}, 3},

	{"an unnamed column", "state,,freq_mhz,level_dbm\nopen,,100,-31\n", []string{`1:7  "" | column 2 | name it`}, 1},
	{"a trailing comma", "state,freq_mhz,level_dbm,\nopen,100,-31,\n", []string{`1:26  "" | column 4 | trailing comma`}, 1},
	{"a column twice", "state,freq_mhz,level_dbm,STATE\nopen,100,-31,open\n", []string{`1:26  "STATE" | twice (columns 1 and 4) | rename`}, 1},
	{"a column and its synonym", "box,state,freq_mhz,level_dbm,serial\nB,open,100,-31,B\n", []string{`1:30  "serial" | the same | one of the two`}, 1},
	{"an unknown column twice", "foo,state,freq_mhz,level_dbm,foo\n,open,100,-31,\n", []string{`1:30  "foo" | twice | rename`}, 1},
	{"two frequencies", "state,freq_mhz,freq_hz,level_dbm\nopen,100,1e8,-31\n", []string{`1:16  "freq_hz" | one of them | keep one`}, 1},
	{"two levels", "state,freq_mhz,level_dbm,level_dbuv\nopen,100,-31,76\n", []string{`1:26  "level_dbuv" | one of them | keep one`}, 1},
	{"levels and attenuations", "state,freq_mhz,level_dbm,atten_db\nopen,100,-31,28\n", []string{`1:26  "atten_db" | levels and attenuations | keep`}, 1},
	{"no frequency", "state,level_dbm\nopen,-31\n", []string{`1:16  "" | no column gives the frequency | freq_mhz`}, 1},
	{"no level", "state,freq_mhz\nopen,100\n", []string{`1:15  "" | no column gives a level | level_dbm`}, 1},
	{"no state", "freq_mhz,level_dbm\n100,-31\n", []string{`1:19  "" | no column state | open, closed or floor`}, 1},
	{"a floor in another unit", "state,freq_mhz,level_db,floor_dbm\nopen,100,-31,-100\n", []string{`1:25  "floor_dbm" | cannot be compared with level_db | same unit`}, 1},
	{"no column box", "gasket,closing,state,freq_mhz,level_dbm\n,,open,100,-31\nG,1,closed,100,-59\nG,2,closed,100,-59\n", []string{`1:0  "" | box is missing | add a column box`}, 2},

	{"too few cells", ok + "a,B,G,2,closed,100\n", []string{`4:1  "" | 6 cells, the header 7 | missing`}, 1},
	{"too many cells", ok + "a,B,G,2,closed,100,-59,x\n", []string{`4:24  "x" | 8 cells, the header 7 | quotes`}, 1},
	{"a decimal comma", ok + "a,B,G,2,closed,100,-59,5\n", []string{`4:24  "5" | 8 cells, the header 7 | comma`}, 1},
	{"a quoted decimal comma", ok + "a,B,G,2,closed,100,\"-59,5\"\n", []string{`4:20 level_dbm "-59,5" | comma | decimal point`}, 1},
	{"thousands", ok + "a,B,G,2,closed,\"1,000\",-59\n", []string{`4:16 freq_mhz "1,000" | thousands | without separators`}, 1},
	{"a unit", ok + "a,B,G,2,closed,100 MHz,-59\n", []string{`4:16 freq_mhz "100 MHz" | behind | column's name`}, 1},
	{"not a number", ok + "a,B,G,2,closed,100,NaN\n", []string{`4:20 level_dbm "NaN" | finite | leave the row out`}, 1},
	{"infinite", ok + "a,B,G,2,closed,inf,-59\n", []string{`4:16 freq_mhz "inf" | finite | leave the row out`}, 1},
	{"hexadecimal", ok + "a,B,G,2,closed,0x64,-59\n", []string{`4:16 freq_mhz "0x64" | decimal | decimal`}, 1},
	{"underscores", ok + "a,B,G,2,closed,1_00,-59\n", []string{`4:16 freq_mhz "1_00" | underscore | separators`}, 1},
	{"below the floor", ok + "a,B,G,2,closed,100,< -120.0\n", []string{`4:20 level_dbm "< -120.0" | below | floor row`}, 1},
	{"an open level that is a limit", limits + "a,,,,open,200,< -20.0,yes\n", []string{`4:15 level_dbm "< -20.0" | upper bound | more power`}, 1},
	{"a level below nothing", limits + "a,B,G,2,closed,100,<,yes\n", []string{`4:20 level_dbm "<" | empty | number`}, 1},
	{"a limit that is not declared", limits + "a,B,G,2,closed,100,< -120,no\n", []string{`4:20 level_dbm "< -120" | below | column limited`}, 1},
	{"a limit or not", limits + "a,B,G,2,closed,100,-120,perhaps\n", []string{`4:25 limited "perhaps" | a limit | yes or no`}, 1},
	{"a frequency below something", ok + "a,B,G,2,closed,<100,-59\n", []string{`4:16 freq_mhz "<100" | below | number alone`}, 1},
	{"no level on a row", ok + "a,B,G,2,closed,100,\n", []string{`4:20 level_dbm "" | empty | number`}, 1},
	{"beyond any receiver", ok + "a,B,G,2,closed,100,1e6\n", []string{`4:20 level_dbm "1e6" | receiver | within 1000 dB`}, 1},
	{"a frequency of zero", ok + "a,B,G,2,closed,0,-59\n", []string{`4:16 freq_mhz "0" | not a frequency | above 0`}, 1},
	{"a negative frequency", ok + "a,B,G,2,closed,-5,-59\n", []string{`4:16 freq_mhz "-5" | not a frequency | above 0`}, 1},
	{"two faults in one row", ok + "a,B,G,2,closed,x,y\n", []string{`4:16 freq_mhz "x" | not a number | digits`, `4:18 level_dbm "y" | not a number | digits`}, 1},
	{"an unknown state", ok + "a,B,G,2,ajar,100,-59\n", []string{`4:9 state "ajar" | not a state | open, closed or floor`}, 1},
	{"an empty state", ok + "a,B,G,2,,100,-59\n", []string{`4:9 state "" | empty | open, closed or floor`}, 1},
	{"the header again", ok + head + open, []string{`4:1  "" | header stands here again | remove`}, 1},
	{"no box", ok + "a,,G,2,closed,100,-59\n", []string{`4:3 box "" | empty | label`}, 1},
	{"no gasket, no closing", ok + "a,B,,,closed,100,-59\n", []string{`4:5 gasket "" | empty | label`, `4:6 closing "" | empty | label`}, 1},
	{"a quote that is not closed", ok + "a,\"B,G,2,closed,100,-59\n" + "b,,,,open,100,-31\n", []string{`4:3  "\"B,G,2,closed,100,-59" | not closed | close it`}, 1},
	{"text behind a quote", ok + "a,\"B\"x,G,2,closed,100,-59\n", []string{`4:3  "\"B\"x,G,2,closed,100,-59" | follows | quote`}, 1},

	{"a date of another order", "date," + head + "04.05.2026," + open, []string{`2:1 date "04.05.2026" | not a date | 2026-05-04`}, 1},
	{"a date that is none", "date," + head + "2026-02-30," + open, []string{`2:1 date "2026-02-30" | calendar | year-month-day`}, 1},
	{"fitted after the reading", "date,installed," + head + "2026-05-04,2026-05-05," + open, []string{`2:12 installed "2026-05-05" | after | correct`}, 1},

	{"no open reading at a frequency", ok + "a,B,G,1,closed,434,-59\n", []string{`4:16 freq_mhz "434" | no open reading at this point | 100000000 Hz`}, 1},
	{"no open reading at a position", "position," + head + "door," + open + "wall," + shut, []string{`3:21 freq_mhz "100" | no open reading at this point | "door"`}, 1},
	{"no open reading in the run", ok + "b,B,G,1,closed,100,-59\nb,B,G,1,closed,200,-59\n", []string{`4:0  "" | run "b" has no open reading to compare with (2 closed readings) | reference`}, 2},
	{"read twice", ok + "a,B,G,1,closed,100,-60\n", []string{`4:16 freq_mhz "100" | data.csv:3 | sweep`}, 2},
	{"a sweep twice", "sweep," + head + "," + open + "1," + shut + "1,a,B,G,1,closed,100,-60\n", []string{`4:1 sweep "1" | data.csv:3 | number the sweeps`}, 2},
	{"a sweep on one of two", "sweep," + head + "," + open + "," + shut + "1,a,B,G,1,closed,100,-60\n", []string{`3:1 sweep "" | other readings of this closing | fill it in`}, 2},
	{"gain on one side", "gain_db," + head + "," + open + "20," + shut, []string{`2:1 gain_db "" | empty, and filled in the closed reading it is paired with, at data.csv:3 | both`}, 1},
	{"gain on the other side", "gain_db," + head + "20," + open + "," + shut, []string{`3:1 gain_db "" | empty, and filled in the open reading it is paired with, at data.csv:2 | both`}, 1},
	{"power on one side", "tx_dbm," + head + "0," + open + "," + shut, []string{`3:1 tx_dbm "" | empty, and filled in the open reading | both`}, 1},
	{"gain on one of two open readings", "gain_db," + head + "20," + open + "," + open + "20," + shut, []string{`3:1 gain_db "" | another open reading of this point, at data.csv:2 | both`}, 1},
	{"gain beside the reading and not beside its floor", "gain_db," + head + "0," + open + "20," + shut + ",a,,,,floor,100,-90\n", []string{`4:1 gain_db "" | closed reading that goes with it, at data.csv:3 | both`}, 1},
	{"power beside an S21", strings.Replace("tx_dbm,"+head, "level_dbm", "level_db", 1) + "0," + open, []string{`2:1 tx_dbm "0" | relative to the generator | leave tx_dbm empty`}, 1},
	{"another receiver", "receiver," + head + "R1," + open + "R2," + shut, []string{`3:1 receiver "R2" | differs from "R1" in the open reading at data.csv:2 | same instruments`}, 1},
	{"an unknown reference", "reference," + head + "x," + shut, []string{`2:1 reference "x" | the data do not have | label`}, 1},
	{"a reference and open readings", "reference," + head + "," + open + "b," + shut + ",b,,,,open,100,-30\n", []string{`3:1 reference "b" | open readings of its own | leave reference empty`}, 1},
	{"a reference without open readings", "reference," + head + "b," + shut + "c,b,C,G,1,closed,100,-59\n,c,,,,open,100,-30\n", []string{`2:1 reference "b" | without open readings | run that has them`}, 1},
	{"two references", "reference," + head + "c," + shut + "d,a,B,G,2,closed,100,-59\n,c,,,,open,100,-30\n,d,,,,open,100,-30\n", []string{`3:1 reference "d" | another run than a row before | one reference`}, 1},
	{"a reference split by date", "date,reference," + head + ",c," + shut + "2026-05-04,,c,,,,open,100,-30\n2026-05-05,,c,,,,open,100,-30\n", []string{`2:2 reference "c" | names 2 runs; write one of them, such as c 2026-05-04 | label`}, 1},

	{"a date left out where a closing has two", "date," + head + "2026-05-04," + open + "2026-05-05," + shut + "2026-05-06," + shut + "," + shut, []string{`5:1 date "" | have several | fill it in`}, 1},
	{"an installed left out where a closing has two", "installed," + head + "," + open + "2026-05-05," + shut + "2026-05-06," + shut + "," + shut, []string{`5:1 installed "" | have several | fill it in`}, 1},
	{"gain beside the floor and not beside the reading", "gain_db," + head + "," + open + "," + shut + "0,a,,,,floor,100,-90\n", []string{`3:1 gain_db "" | floor reading that goes with it, at data.csv:4 | both`}, 1},
	{"an attenuation below", "box,gasket,closing,freq_mhz,atten_db\nB,G,1,100,<28\n", []string{`2:11 atten_db "<28" | below | at least`}, 1},
	{"an open attenuation", "box,gasket,closing,freq_mhz,atten_db,state\nB,G,1,100,28,open\n", []string{`2:14 state "open" | does not go with | file of their own`}, 1},
	{"an attenuation beyond reason", "box,gasket,closing,freq_mhz,atten_db,state\nB,G,1,100,2800,closed\n", []string{`2:11 atten_db "2800" | set-up | within 1000 dB`}, 1},
	{"attenuations and levels", "state,freq_mhz,atten_db,level_dbm\nopen,100,28,-31\n", []string{`1:25  "level_dbm" | levels and attenuations | keep`}, 1},
	{"no open reading that is usable", "box,gasket,closing,state,freq_mhz,level_dbm\nB,G,1,closed,100,-59\n,,2,open,200,-31\n", []string{`2:0  "" | no open reading to compare with | reference`}, 1},
	{"an S21 named otherwise", "freq_mhz,S21 (dB),state\n100,-31,open\n", []string{`1:10  "S21 (dB)" | no column gives a level | rename this column level_db`}, 1},
	{"microvolts named otherwise", "freq_mhz,Level dBµV,state\n100,31,open\n", []string{"1:10  \"Level dBµV\" | no column gives a level | rename this column level_dbuv"}, 1},
	{"an attenuation named otherwise", "freq_mhz,Shielding,state\n100,31,closed\n", []string{`1:10  "Shielding" | no column gives a level | rename this column`}, 1},
	{"lines above a header with semicolons", "Report\nstate;freq_mhz;level_dbm\nopen;100;-31\n", []string{`1:1  "" | line 2, other lines stand above it, and its cells are separated by semicolons | remove`}, 2},
	{"an attenuation that is none", "box,gasket,closing,freq_mhz,atten_db\nB,G,1,100,>\n", []string{`2:11 atten_db ">" | empty | number`}, 1},
	{"an attenuation twice", "box,gasket,closing,freq_mhz,atten_db\nB,G,1,100,28\nB,G,1,100,29\n", []string{`3:7 freq_mhz "100" | data.csv:2 | sweep`}, 2},
}

func TestDamage(t *testing.T) {
	for _, tt := range damage {
		t.Run(tt.name, func(t *testing.T) {
			res := readText(t, DefaultOptions(), tt.text)
			var bad *BadInput
			if !errors.As(res.err, &bad) || res.sum == nil {
				t.Fatalf("error %v and summary %v, want problems", res.err, res.sum)
			}
			var got []string
			for i, p := range res.sum.Problems {
				got = append(got, p.Error())
				if i < len(tt.want) {
					parts := strings.Split(tt.want[i], " | ")
					dir := filepath.Dir(p.File) + string(filepath.Separator)
					place := fmt.Sprintf("%d:%d %s %q", p.Line, p.Column, p.Field, p.Text)
					if what := strings.ReplaceAll(p.What, dir, ""); place != parts[0] || !strings.Contains(what, parts[1]) || !strings.Contains(p.Mend, parts[2]) {
						t.Errorf("%s: %s; %s\nwant %s", place, what, p.Mend, tt.want[i])
					}
				}
			}
			if len(got) != len(tt.want) {
				t.Errorf("%d problems, want %d:\n%s", len(got), len(tt.want), strings.Join(got, "\n"))
			}
			opt := DefaultOptions()
			opt.SkipBadRows = true
			res = readText(t, opt, tt.text)
			if res.err != nil {
				t.Fatal(res.err)
			}
			if n := res.sum.Inputs[0].Skipped; n != tt.skipped {
				t.Errorf("%d rows skipped, want %d: %+v", n, tt.skipped, res.sum.Inputs)
			}
			if strings.HasPrefix(tt.text, ok) && (len(res.runs) == 0 || res.runs[0].Label != "a") && tt.skipped < 2 {
				t.Errorf("the good rows are lost: %+v", res.runs)
			}
		})
	}
}

// Traces as a receiver or a network analyser saves them lack the columns that say
// what was read. Each is refused; the message names what stands in the way.
func TestTraces(t *testing.T) {
	for _, tt := range []struct{ file, at, what string }{
		{"plain.csv", "1:1", "rename this column freq_hz"},
		{"preamble_semicolon_comma_latin1.csv", "1:4", "0xe4 is not UTF-8"},
		{"tab_exponent_trailing.csv", "1:1", "separated by tabs"},
		{"bom_thousands.csv", "1:1", "rename this column freq_mhz"},
		{"units_row.csv", "2:1", "units stand on a line of their own"},
		{"unit_suffix.csv", "2:3", "a unit stands behind it"},
		{"utf16le.csv", "1:1", "UTF-16"},
		{"duplicate_frequency.csv", "1:1", "rename this column freq_mhz"},
		{"dbuv.csv", "1:25", "0xb5 is not UTF-8"},
		{"overload_flag.csv", "1:17", "rename this column level_dbm"},
		{"below_noise.csv", "1:1", "rename this column freq_mhz"},
		{"cr_only.csv", "1:28", "carriage return"},
		{"preamble_only.csv", "1:1", "the header is on line 4"},
		{"reference.csv", "1:1", "rename this column freq_mhz"},
		{"closed_box.csv", "1:17", "rename this column level_dbm"},
		{"repeated_header.csv", "1:1", "rename this column freq_mhz"},
	} {
		res := read(t, DefaultOptions(), filepath.Join("testdata/traces", tt.file))
		if res.sum == nil || len(res.sum.Problems) == 0 || len(res.runs) > 0 {
			t.Errorf("%s: %v, %v", tt.file, res.err, res.runs)
			continue
		}
		found := false
		for _, p := range res.sum.Problems {
			found = found || fmt.Sprintf("%d:%d", p.Line, p.Column) == tt.at && strings.Contains(p.Error(), tt.what)
		}
		if !found {
			t.Errorf("%s: no problem at %s says %q:\n%v", tt.file, tt.at, tt.what, res.sum.Problems)
		}
		if in := res.sum.Inputs[0]; in.Used != 0 {
			t.Errorf("%s: %+v", tt.file, in)
		}
	}
	if all, err := os.ReadDir("testdata/traces"); err != nil || len(all) != 16 {
		t.Errorf("%d traces, %v", len(all), err)
	}
}

// The same traces with their columns named as they must be: what the cells hold
// is then what stands in the way, or the reading is right.
func TestTracesNamed(t *testing.T) {
	column := func(file, header, before string) string {
		b, err := os.ReadFile(filepath.Join("testdata/traces", file))
		if err != nil {
			t.Fatal(err)
		}
		text := strings.TrimPrefix(string(b), "\ufeff")
		var out strings.Builder
		for i, line := range strings.Split(strings.TrimSuffix(text, "\n"), "\n") {
			if i == 0 {
				out.WriteString("run,box,gasket,closing,state," + header + "\n")
			} else {
				out.WriteString(before + "," + line + "\n")
			}
		}
		return out.String()
	}
	dir := folder(t, map[string]string{
		"open.csv":   column("reference.csv", "freq_mhz,level_dbm", "r,,,,open"),
		"closed.csv": column("closed_box.csv", "freq_mhz,level_dbm", "r,B,G,1,closed"),
	})
	// The two grids share 100 MHz, and 30 MHz within 1 ppm; -13 against -71 dBm
	// is 58 dB, -12 against -72.5 dBm is 60.5 dB.
	opt := DefaultOptions()
	opt.SkipBadRows = true
	res := read(t, opt, dir)
	if len(res.runs) != 1 || res.runs[0].table() != "B/1@30=60.5? B/1@100=58?" || len(res.sum.Problems) != 2 {
		t.Errorf("%+v, %v", res.runs, res.sum.Problems)
	}
	for _, tt := range []struct{ name, text, want string }{
		{"bom_thousands", column("bom_thousands.csv", "freq_mhz,level_dbm", "r,B,G,1,closed"), `data.csv:3:16: freq_mhz "1,000.000"`},
		{"units_row", column("units_row.csv", "freq_mhz,level_dbm,other", "r,B,G,1,closed"), `data.csv:2:16: freq_mhz "MHz"`},
		{"below_noise", column("below_noise.csv", "freq_mhz,level_dbm", "r,B,G,1,closed"), `data.csv:3:20: level_dbm "< -120.0"`},
		{"duplicate_frequency", column("duplicate_frequency.csv", "freq_mhz,level_dbm", "r,B,G,1,closed") + "r,,,,open,30,0\nr,,,,open,100,0\nr,,,,open,400,0\n", `data.csv:4:16: freq_mhz "100": this closing was read at this point before`},
		{"repeated_header", column("repeated_header.csv", "freq_mhz,level_dbm", "r,B,G,1,closed"), `data.csv:4:16: freq_mhz "Frequency (MHz)"`},
		{"overload_flag", column("overload_flag.csv", "freq_mhz,level_dbm,status", "r,B,G,1,closed"), ""},
	} {
		res := readText(t, DefaultOptions(), tt.text)
		found := tt.want == ""
		for _, p := range res.sum.Problems {
			found = found || strings.Contains(strings.ReplaceAll(p.Error(), filepath.Dir(p.File)+string(filepath.Separator), ""), tt.want)
		}
		if !found {
			t.Errorf("%s: nothing says %s: %v", tt.name, tt.want, res.sum.Problems)
		}
		if tt.name == "overload_flag" && !strings.Contains(strings.Join(res.sum.Notes, " "), `"status"`) {
			t.Errorf("no note tells that the column status is not used: %q", res.sum.Notes)
		}
	}
}

// What a whole closing shares is told once for it, at its first reading.
func TestToldOnce(t *testing.T) {
	text := "receiver,gain_db," + head
	for f := range 30 {
		text += fmt.Sprintf("R1,,a,,,,open,%d,-31\nR2,,a,B,G,1,closed,%d,-59\nR1,20,a,B,G,2,closed,%d,-59\nR1,20,a,B,G,3,closed,%d,-59\n", f+1, f+1, f+1, f+1)
	}
	res := readText(t, DefaultOptions(), text)
	if res.sum == nil || len(res.sum.Problems) != 2 {
		t.Fatalf("%v", res.err)
	}
	for i, want := range []string{
		`data.csv:2:4: gain_db: is empty, and filled in the closed reading it is paired with`,
		`data.csv:3:1: receiver "R2": differs from "R1" in the open reading at`,
	} {
		if got := res.sum.Problems[i].Error(); !strings.Contains(got, want) || !strings.Contains(got, "(the same for 30 readings of this closing)") {
			t.Errorf("%s, want %s", got, want)
		}
	}
	opt := DefaultOptions()
	opt.SkipBadRows = true
	if in := readText(t, opt, text).sum.Inputs[0]; in.Skipped != 90 || in.Used != 30 {
		t.Errorf("%+v", in)
	}
}

// What is given beside an attenuation as such is not used, and said so.
func TestBesideAttenuation(t *testing.T) {
	res := good(t, DefaultOptions(), "box,gasket,closing,freq_mhz,atten_db,gain_db,floor_dbm,reference\nB,G,1,100,28,n/a,x,y\n")
	if len(res.sum.Notes) != 1 || !strings.Contains(res.sum.Notes[0], `"floor_dbm", "gain_db", "reference"`) || res.runs[0].table() != "B/1@100=28" {
		t.Errorf("%q, %+v", res.sum.Notes, res.runs)
	}
}

func TestLevelsOfTwoKindsAmongOpen(t *testing.T) {
	dir := folder(t, map[string]string{
		"a.csv": ok,
		"b.csv": "run,state,freq_mhz,level_db\na,open,100,-31\na,floor,100,-90\n",
	})
	res := read(t, DefaultOptions(), dir)
	if res.sum == nil || len(res.sum.Problems) != 2 || !strings.Contains(res.sum.Problems[0].Error(), `b.csv:2:12: level_db "-31": is relative to the generator, another open reading`) ||
		!strings.Contains(res.sum.Problems[1].Error(), `b.csv:3:13: level_db "-90": is in dB, and the closed reading at`) {
		t.Errorf("%v", res.err)
	}
	// An attenuation and a level of the same closing.
	dir = folder(t, map[string]string{"a.csv": ok, "b.csv": "run,box,gasket,closing,freq_mhz,atten_db\na,B,G,1,100,28\n"})
	res = read(t, DefaultOptions(), dir)
	if res.sum == nil || len(res.sum.Problems) != 1 || !strings.Contains(res.sum.Problems[0].Error(), "a level is read here and an attenuation given") {
		t.Errorf("%v", res.err)
	}
}

func TestLevelsOfTwoKinds(t *testing.T) {
	dir := folder(t, map[string]string{
		"open.csv":   "run,state,freq_mhz,level_db\na,open,100,-31\n",
		"closed.csv": ok[:len(head)] + shut,
	})
	res := read(t, DefaultOptions(), dir)
	if res.sum == nil || len(res.sum.Problems) != 1 || !strings.Contains(res.sum.Problems[0].Error(), `closed.csv:2:20: level_dbm "-59": is in dBm, and the open reading at`) {
		t.Errorf("%v", res.err)
	}
}

// A bad open reading takes the closed readings with it that would have been
// compared with it; they are counted, and not each told as a problem.
func TestBadOpenTakesClosed(t *testing.T) {
	text := head + "a,,,,open,100,-31\na,,,,open,200,x\n" + shut +
		"a,B,G,1,closed,200,-59\na,B,G,2,closed,200,-59\n"
	opt := DefaultOptions()
	opt.SkipBadRows = true
	res := readText(t, opt, text)
	if res.err != nil || len(res.sum.Problems) != 1 || res.sum.Problems[0].Line != 3 {
		t.Fatalf("%v, %v", res.err, res.sum.Problems)
	}
	if in := res.sum.Inputs[0]; in.Used != 2 || in.Skipped != 3 {
		t.Errorf("%+v", in)
	}
	if r := res.runs[0]; r.table() != "B/1@100=28?" || len(r.Closings) != 1 {
		t.Errorf("%s, %+v", r.table(), r.Closings)
	}
	if n := strings.Join(res.sum.Notes, " "); !strings.Contains(n, "2, the first in run \"a\"") {
		t.Errorf("notes %q", n)
	}
	// What it does not excuse is told still: no open reading at 300 MHz.
	res = readText(t, opt, text+"a,B,G,1,closed,300,-59\n")
	if ps := res.sum.Problems; len(ps) != 2 || ps[1].Line != 7 || ps[1].Field != "freq_mhz" {
		t.Errorf("problems %v", ps)
	}
	// A repeat of the open reading that is good still serves.
	res = readText(t, opt, text+"a,,,,open,200,-32\n")
	if in := res.sum.Inputs[0]; in.Used != 5 || in.Skipped != 1 {
		t.Errorf("%+v", in)
	}
}

// One broken file does not hide the problems of the others.
func TestProblemsOfAllFiles(t *testing.T) {
	dir := folder(t, map[string]string{
		"a.csv": strings.ReplaceAll(ok, ",", ";"),
		"b.csv": ok + "a,B,G,2,closed,100,x\n",
		"c.csv": "\xff\xfea\x00",
		"d.csv": strings.ReplaceAll(ok, "a,", "d,"),
	})
	res := read(t, DefaultOptions(), dir)
	var files []string
	for _, p := range res.sum.Problems {
		files = append(files, filepath.Base(p.File))
	}
	if strings.Join(files, " ") != "a.csv b.csv c.csv" {
		t.Errorf("problems in %v", files)
	}
	var bad *BadInput
	if !errors.As(res.err, &bad) || len(bad.Problems) != 3 || !strings.Contains(res.err.Error(), "and 2 more") {
		t.Errorf("%v", res.err)
	}
	var p Problem
	if !errors.As(res.err, &p) || filepath.Base(p.File) != "a.csv" {
		t.Errorf("%v does not hold its problems", res.err)
	}
	opt := DefaultOptions()
	opt.SkipBadRows = true
	res = read(t, opt, dir)
	if res.err != nil || len(res.runs) != 2 || len(res.sum.Problems) != 3 {
		t.Errorf("%v, %+v", res.err, res.runs)
	}
}

func TestProblemLimit(t *testing.T) {
	var b strings.Builder
	b.WriteString(head)
	for i := range 3000 {
		fmt.Fprintf(&b, "r%d,,,,open,100,x\n", 2999-i)
	}
	opt := DefaultOptions()
	opt.ProblemLimit = 7
	res := readText(t, opt, b.String())
	if n := len(res.sum.Problems); n != 7 || res.sum.Omitted != 2993 || res.sum.Problems[0].Line != 2 || res.sum.Problems[6].Line != 8 {
		t.Errorf("%d problems and %d omitted, the first %v", n, res.sum.Omitted, res.sum.Problems)
	}
	if in := res.sum.Inputs[0]; in.Skipped != 3000 {
		t.Errorf("%+v", in)
	}
}
