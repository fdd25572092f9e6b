package trace

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

// What is proposed for each sample, and what only a person can tell of it.
func TestProposeSamples(t *testing.T) {
	for name, want := range map[string]struct{ cells, open string }{
		"plain.csv": {"", ""}, "reference.csv": {"", ""}, "closed_box.csv": {"", ""}, "duplicate_frequency.csv": {"", ""},
		"cr_only.csv":                         {"", ""},
		"preamble_semicolon_comma_latin1.csv": {"encoding=latin-1 delimiter=semicolon decimal=comma header_line=8", ""},
		"tab_exponent_trailing.csv":           {"delimiter=tab", ""},
		"bom_thousands.csv":                   {"thousands=comma", ""},
		"units_row.csv":                       {"units_row=yes", "level_column"},
		"unit_suffix.csv":                     {"freq_unit=suffix level_unit=suffix", ""},
		"utf16le.csv":                         {"encoding=utf-16 delimiter=tab", ""},
		"dbuv.csv":                            {"encoding=latin-1 delimiter=semicolon decimal=comma level_unit=dBuV", ""},
		"overload_flag.csv":                   {"status_column=Status status_good=OK", ""},
		"below_noise.csv":                     {"limited=yes", ""},
		"preamble_only.csv":                   {"header_line=4", ""},
		"repeated_header.csv":                 {"repeated_header=yes", ""},
	} {
		p, reasons := Propose([]byte(sample(t, name)))
		cells, open := describe(p, reasons)
		if cells != want.cells || open != want.open {
			t.Errorf("%s: proposed %q, open %q; want %q, %q", name, cells, open, want.cells, want.open)
		}
	}
}

// describe writes a proposal's cells, and the columns that it leaves open.
func describe(p Profile, reasons []Reason) (cells, open string) {
	var c, o []string
	for _, cell := range p.Cells() {
		c = append(c, cell.String())
	}
	for _, r := range reasons {
		if r.Cell != "" && r.Value == "" {
			o = append(o, r.Cell)
		}
	}
	return strings.Join(c, " "), strings.Join(o, " ")
}

func TestPropose(t *testing.T) {
	for _, tt := range []struct{ name, text, cells, open string }{
		{"nothing", "", "", ""},
		{"no table", "dear all\nthe trace is lost\n", "", ""},
		{"no header", "30,-1\n60,-2\n", "", ""},
		{"a stated delimiter above", "sep=;\nfreq_mhz;level_dbm\n30;-1\n", "delimiter=semicolon header_line=2", ""},
		{"numbers above the header", "RBW;10;kHz;9\nSpan;1;2\nfreq_mhz;level_dbm\n30;-1\n60;-1\n90;-1\n", "delimiter=semicolon header_line=3", ""},
		{"blanks", "freq_mhz level_dbm\n30,5 -1,5\n60,5 -2,5\n", "delimiter=space decimal=comma", ""},
		{"bars", "freq_mhz|level_dbm\n30|-1\n", "delimiter=pipe", ""},
		{"points and commas", "freq_hz;level_dbm\n1.000.000;-1,5\n", "delimiter=semicolon decimal=comma thousands=point", ""},
		{"one way of two", "freq_hz;level_dbm\n1,000;-1\n", "delimiter=semicolon", "decimal"},
		{"columns by unit", "a [MHz],b [dBm]\n30,-1\n", "freq_column=a [MHz] level_column=b [dBm]", ""},
		{"columns by the units row", "a,b\nMHz,dBm\n30,-1\n", "units_row=yes freq_column=a level_column=b", ""},
		{"no unit", "freq,level\n30,-1\n", "", "freq_unit level_unit"},
		{"columns not to be told", "a,b\n30,-1\n", "", "freq_column level_column"},
		{"missing levels", "freq_mhz,level_dbm\n30,---\n60,\n90,-1\n", "missing=---|", ""},
		{"an empty level", "freq_mhz,level_dbm\n30,\n90,-1\n", "missing=|", ""},
		{"footer", "freq_mhz,level_dbm\n30,-1\n60,-2\n\nend\nof trace\n", "footer_lines=2", ""},
		{"a long file's end is not looked at", "freq_mhz,level_dbm\n" + strings.Repeat("1,2\n", surveyed) + "end\n", "", ""},
		{"status without a plain word", "freq_mhz,level_dbm,Valid\n30,-1,1\n60,-2,0\n", "status_column=Valid", "status_good"},
		{"status in two spellings", "freq_mhz,level_dbm,Valid\n30,-1,ok\n60,-2,OK\n", "status_column=Valid status_good=OK|ok", ""},
		{"sweeps with units", "freq,level\nMHz,dBm\n30,-1\nfreq,level\nMHz,dBm\n30,-2\n", "units_row=yes repeated_header=yes", ""},
	} {
		p, reasons := Propose([]byte(tt.text))
		cells, open := describe(p, reasons)
		if cells != tt.cells || open != tt.open {
			t.Errorf("%s: proposed %q, open %q; want %q, %q", tt.name, cells, open, tt.cells, tt.open)
		}
		for _, r := range reasons {
			if r.Why == "" || r.Line < 1 || r.Column < 1 {
				t.Errorf("%s: a reason without its parts: %+v", tt.name, r)
			}
		}
		if again, _ := Propose([]byte(tt.text)); fmt.Sprint(again) != fmt.Sprint(p) {
			t.Errorf("%s: proposed %+v, then %+v", tt.name, p, again)
		}
	}
}

// A trace of three readings, written in every notation and delimiter, is read as
// the same numbers under what is proposed for it.
func TestProposalsRead(t *testing.T) {
	want := []Row{{FreqHz: 30e6, LevelDBm: -41.25}, {FreqHz: 1234.5e6, LevelDBm: -62.5}, {FreqHz: 2400e6, LevelDBm: -119.75}}
	for _, n := range notations {
		for _, m := range marks {
			if rune(m.mark) == n.thousands && m.mark == ' ' || m.mark == ',' && n.decimal == ',' {
				continue // cells would fall apart
			}
			mark := string(rune(m.mark))
			text := "Frequency_MHz" + mark + "Level_dBm\n"
			for _, cells := range [][2]string{{"30.00", "-41.25"}, {"1T234.50", "-62.50"}, {"2T400.00", "-119.75"}} {
				for i, c := range cells {
					c = strings.ReplaceAll(c, ".", string(rune(n.decimal)))
					separator := ""
					if n.thousands != 0 {
						separator = string(n.thousands)
					}
					c = strings.ReplaceAll(c, "T", separator)
					if strings.Contains(c, mark) {
						c = `"` + c + `"`
					}
					text += c + []string{mark, "\n"}[i]
				}
			}
			p, reasons := Propose([]byte(text))
			f, _, problems := parse(t, text, p)
			if f == nil || len(problems) > 0 || len(f.Rows) != len(want) {
				t.Errorf("%+v by %s: %q: proposed %v %+v\n%s", n, m.name, text, p.Cells(), reasons, joined(problems))
				continue
			}
			for i, r := range f.Rows {
				if r.FreqHz != want[i].FreqHz || math.Abs(r.LevelDBm-want[i].LevelDBm) > 1e-12 {
					t.Errorf("%+v by %s: row %+v, want %+v", n, m.name, r, want[i])
				}
			}
			if plain := n == plainNotation && m.mark == ','; plain != (len(reasons) == 0) {
				t.Errorf("%+v by %s: reasons %+v", n, m.name, reasons)
			}
		}
	}
}

// The same numbers mean different things in two notations; none is preferred.
func TestNotations(t *testing.T) {
	for _, tt := range []struct {
		text string
		n    notation
		want float64 // NaN: refused
	}{
		{"1,5", notation{decimal: ','}, 1.5},
		{"1.5", notation{decimal: ','}, math.NaN()},
		{"1,000", notation{decimal: ','}, 1},
		{"1,000", notation{'.', ','}, 1000},
		{"1,000.5", notation{'.', ','}, 1000.5},
		{"1,00.5", notation{'.', ','}, math.NaN()},
		{"1000,000", notation{'.', ','}, math.NaN()},
		{",000", notation{'.', ','}, math.NaN()},
		{"1,000,", notation{'.', ','}, math.NaN()},
		{"1,,000", notation{'.', ','}, math.NaN()},
		{"1.000,5", notation{',', '.'}, 1000.5},
		{"1.000", notation{',', '.'}, 1000},
		{"1,5.000", notation{',', '.'}, math.NaN()},
		{"-1 234 567,5", notation{',', ' '}, -1234567.5},
		{"12 34", notation{'.', ' '}, math.NaN()},
		{"1'000e3", notation{'.', '\''}, 1e6},
		{"1'00e3", notation{'.', '\''}, math.NaN()},
		{"1e3'000", notation{'.', '\''}, math.NaN()},
		{"1000", notation{'.', '\''}, 1000},
		{"\uff11,5", notation{decimal: ','}, math.NaN()}, // digits of another script
		{"--1", notation{decimal: ','}, math.NaN()},
		{"1e999", notation{decimal: ','}, math.NaN()},
	} {
		got, _, fault := tt.n.read(tt.text, 0, nil)
		if fault != nil {
			got = math.NaN()
		}
		if got != tt.want && !(math.IsNaN(got) && math.IsNaN(tt.want)) {
			t.Errorf("%q in %+v: %v, want %v", tt.text, tt.n, got, tt.want)
		}
		if fault != nil && (fault.What == "" || fault.Mend == "") {
			t.Errorf("%q in %+v: %+v lacks words", tt.text, tt.n, fault)
		}
	}
}

func TestHeadings(t *testing.T) {
	for _, tt := range []struct{ text, base, unit string }{
		{"Frequency (Hz)", "frequency", "hz"},
		{"Frequency [MHz]", "frequency", "mhz"},
		{"Frequency, MHz", "frequency", "mhz"},
		{"Freq/GHz", "freq", "ghz"},
		{"freq_khz", "freq", "khz"},
		{"Freq MHz", "freq", "mhz"},
		{"Level: (dB\u00b5V)", "level", "dbuv"},
		{"Level (dB\u03bcV/m)", "level", "dbuv/m"},
		{"Level/dBuV/m", "level", "dbuv/m"},
		{"Level (RMS) (dBm)", "level (rms)", "dbm"},
		{"Level (RMS)", "level (rms)", ""},
		{"MHz", "mhz", ""},
		{"(MHz)", "(mhz)", ""},
		{"", "", ""},
	} {
		if h := parseHeading(piece{text: tt.text}); h.base != tt.base || h.unit != tt.unit {
			t.Errorf("%q: %q in %q, want %q in %q", tt.text, h.base, h.unit, tt.base, tt.unit)
		}
	}
}

func TestSplit(t *testing.T) {
	for _, tt := range []struct {
		mark  byte
		line  string
		want  []piece
		wrong int // offset of what is wrong, -1 for nothing
	}{
		{',', "", []piece{{"", 0}}, -1},
		{',', "a, b ,", []piece{{"a", 0}, {"b", 3}, {"", 6}}, -1},
		{',', ` "a,""b""" ,c`, []piece{{`a,"b"`, 1}, {"c", 12}}, -1},
		{'\t', "a\t\tb", []piece{{"a", 0}, {"", 2}, {"b", 3}}, -1},
		{'\t', "\"a\" \t b", []piece{{"a", 0}, {"b", 6}}, -1},
		{' ', "  a \t b  ", []piece{{"a", 2}, {"b", 6}}, -1},
		{' ', `"a b" c`, []piece{{"a b", 0}, {"c", 6}}, -1},
		{';', "a,b;c", []piece{{"a,b", 0}, {"c", 4}}, -1},
		{',', `a,"b`, nil, 2},
		{',', `a,"b"c`, nil, 2},
		{' ', `"b"c`, nil, 0},
		{',', `a,b"c`, nil, 3},
	} {
		s := splitter{mark: tt.mark}
		got, wrong, at := s.split(tt.line)
		if (wrong != "") != (tt.wrong >= 0) || wrong != "" && at != tt.wrong || !slices.Equal(got, tt.want) {
			t.Errorf("%q at %q: %v, %q at %d; want %v, %d", tt.line, tt.mark, got, wrong, at, tt.want, tt.wrong)
		}
	}
}
