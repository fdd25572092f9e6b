package texttab

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

// Expected: Unicode Character Database 14.0 as read by Python 3.11's
// unicodedata: W and F of east_asian_width are 2, categories Mn, Me and Cf are
// 0, the rest 1. The Hangul vowels, 0 in terminals, are common practice.
func TestWidth(t *testing.T) {
	for _, tt := range []struct {
		s    string
		want int
	}{
		{"", 0},
		{"box 007", 7},
		{"Gerät", 5},
		{"Gera\u0308t", 5}, // combining diaeresis
		{"箱7", 3},
		{"ﾊｺ", 2}, // half-width katakana
		{"ＡＢ", 4}, // full-width Latin
		{"상자", 4},
		{"\u1112\u1161\u11ab", 2}, // one syllable of three jamo
		{"–≥µΩ", 4},
		{"⌚", 2},
		{"☎", 1},
		{"👍", 2},
		{"\u200d", 0},
		{"\U0001f3fb", 2}, // a skin tone alone
		{"〿", 1},          // U+303F, the one narrow rune among wide ones
		{"𠀀", 2},
	} {
		if got := Width(tt.s); got != tt.want {
			t.Errorf("Width(%q) = %d, want %d", tt.s, got, tt.want)
		}
	}
}

func TestWideRangesInOrder(t *testing.T) {
	last := rune(0)
	for _, r := range wide {
		if r[0] <= last || r[1] < r[0] {
			t.Errorf("range %U-%U stands after %U", r[0], r[1], last)
		}
		last = r[1]
	}
}

func TestClean(t *testing.T) {
	for _, tt := range []struct{ in, want string }{
		{"box 007, foil 3–4 mm, Gerät 箱", "box 007, foil 3–4 mm, Gerät 箱"},
		{"a\tb\nc\r", `a\tb\nc\r`},
		{"\x1b[31mred\x1b[0m", `\x1b[31mred\x1b[0m`},
		{"\u009b31m", `\x9b31m`},
		{"\x00\x07\x7f", `\x00\x07\x7f`},
		{"B\u202e70\u202c", `B\u202e70\u202c`},
		{"\u2066x\u2069\u200f\u061c", `\u2066x\u2069\u200f\u061c`},
		{"\ufeffbox", `\ufeffbox`},
		{"a\u200bb\u2028c\u00add", `a\u200bb\u2028c\xadd`},
		{"\U000e0041", `\U000e0041`},
		{"bad \xff\xfe", `bad \xff\xfe`},
		{"\ufffd", "\ufffd"},       // a replacement character in the data is text
		{"क्\u200dष", "क्\u200dष"}, // a joiner that belongs to the writing
	} {
		if got := Clean(tt.in); got != tt.want {
			t.Errorf("Clean(%q) = %q, want %q", tt.in, got, tt.want)
		}
	}
}

func FuzzClean(f *testing.F) {
	f.Add("\x1b]0;title\x07")
	f.Add("a\u202eb\xc3(")
	f.Fuzz(func(t *testing.T, s string) {
		c := Clean(s)
		if !utf8.ValidString(c) || strings.ContainsFunc(c, Unsafe) {
			t.Errorf("Clean(%q) = %q is not safe", s, c)
		}
		if again := Clean(c); again != c {
			t.Errorf("Clean is not idempotent on %q: %q, %q", s, c, again)
		}
	})
}

func TestWrap(t *testing.T) {
	for _, tt := range []struct {
		in    string
		width int
		want  []string
	}{
		{"", 10, []string{""}},
		{"one two three", 20, []string{"one two three"}},
		{"one two three", 7, []string{"one two", "three"}},
		{"one two", 6, []string{"one", "two"}},
		{"  one   two  ", 20, []string{"one two"}},
		{"abcdefghij", 4, []string{"abcd", "efgh", "ij"}},
		{"ab cdefghij kl", 4, []string{"ab", "cdef", "ghij", "kl"}},
		{"box+fitting+visit", 12, []string{"box+fitting+", "visit"}},
		{"box+fitting", 8, []string{"box+", "fitting"}},
		{"a-\u0308bcd", 3, []string{"a-\u0308", "bcd"}},
		{"箱箱箱", 4, []string{"箱箱", "箱"}},
		{"箱箱", 1, []string{"箱", "箱"}}, // wider than the width: one a line
		{"aaaa\u0308bb", 4, []string{"aaaa\u0308", "bb"}},
		{"50\u00a0dB or more", 6, []string{"50\u00a0dB", "or", "more"}}, // a hard space holds
		{"a\nb", 10, []string{`a\nb`}},
		{"abc", 0, []string{"a", "b", "c"}},
	} {
		if got := Wrap(tt.in, tt.width); !slices.Equal(got, tt.want) {
			t.Errorf("Wrap(%q, %d) = %q, want %q", tt.in, tt.width, got, tt.want)
		}
	}
}

func TestHang(t *testing.T) {
	got := Hang("one two three", 9, "- ", "  ")
	if want := []string{"- one two", "  three"}; !slices.Equal(got, want) {
		t.Errorf("Hang = %q, want %q", got, want)
	}
}

func TestTableStandsOnPoints(t *testing.T) {
	table := Table{
		Columns: []Column{{Head: "box"}, {Head: "mean\ndB", Align: Number}, {Head: "verdict"}},
		Rows: [][]string{
			{"A", "71.25", "clears"},
			{"箱", "≥ 8.5", "undecided"},
			{"C", "–"},
			{"D", "-101", "falls short"},
		},
	}
	want := strings.Join([]string{
		"        mean",
		"box       dB  verdict",
		"-------------------------",
		"A      71.25  clears",
		"箱    ≥ 8.5   undecided",
		"C       –",
		"D    -101     falls short",
	}, "\n")
	if got := strings.Join(table.Lines(100), "\n"); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestTableWrapsTheLastTextColumnFirst(t *testing.T) {
	table := Table{
		Indent:  2,
		Columns: []Column{{Head: "gasket"}, {Head: "n", Align: Number}, {Head: "verdict"}},
		Rows:    [][]string{{"a strip with a long name", "12", "undecided: twelve more closings settle it"}},
	}
	want := strings.Join([]string{
		"  gasket                     n  verdict",
		"  " + strings.Repeat("-", 24+2+2+2+28),
		"  a strip with a long name  12  undecided: twelve more",
		"                                closings settle it",
	}, "\n")
	if got := strings.Join(table.Lines(60), "\n"); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	want = strings.Join([]string{
		"  gasket         n  verdict",
		"  ----------------------------------",
		"  a strip with  12  undecided:",
		"  a long name       twelve more",
		"                    closings settle",
		"                    it",
	}, "\n")
	if got := strings.Join(table.Lines(36), "\n"); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// Whatever the cells hold, no line is wider than asked for as long as the
// columns can be squeezed to it, and nothing but spaces is lost.
func TestTableFits(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	alphabet := []rune("abc de–箱\u0308\x1b\u202eß .7")
	for range 300 {
		table := Table{Columns: []Column{{Head: "gasket"}, {Head: "box"}, {Head: "x\ndB", Align: Number}, {Head: "why"}}}
		for range 3 {
			var cells []string
			for range 3 {
				var s []rune
				for range rnd.IntN(60) {
					s = append(s, alphabet[rnd.IntN(len(alphabet))])
				}
				cells = append(cells, string(s))
			}
			table.Rows = append(table.Rows, []string{cells[0], cells[1], "12.5", cells[2]})
		}
		lines := table.Lines(48)
		var shown, given []rune
		for _, line := range lines[3:] {
			if Width(line) > 48 {
				t.Fatalf("%d columns: %q", Width(line), line)
			}
			shown = append(shown, []rune(line)...)
		}
		for _, cells := range table.Rows {
			given = append(given, []rune(Clean(strings.Join(cells, "")))...)
		}
		count := func(rs []rune) (n int) {
			for _, r := range rs {
				if r != ' ' {
					n++
				}
			}
			return n
		}
		if count(shown) != count(given) {
			t.Fatalf("%d runes of %d shown:\n%s", count(shown), count(given), strings.Join(lines, "\n"))
		}
	}
}

func TestTitlesStandAboveTheirRows(t *testing.T) {
	table := Table{
		Indent:  2,
		Columns: []Column{{Head: "band"}, {Head: "dB", Align: Number}},
		Rows:    [][]string{{"HF", "1.5"}, {"VHF", "2.5"}, {"HF", "3.5"}},
		Titles:  []string{"box A", "box A", "box B, which has a long name"},
	}
	want := strings.Join([]string{
		"    band   dB",
		"  -----------",
		"  box A",
		"    HF    1.5",
		"    VHF   2.5",
		"  box B,",
		"    which has",
		"    a long",
		"    name",
		"    HF    3.5",
	}, "\n")
	if got := strings.Join(table.Lines(14), "\n"); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestTableWithoutRowsOrColumns(t *testing.T) {
	if got := (Table{}).Lines(80); len(got) != 0 {
		t.Errorf("empty table: %q", got)
	}
	bare := Table{Columns: []Column{{}, {Align: Number}}, Rows: [][]string{{"files", "3"}, {"rows", "120"}}}
	if got, want := bare.Lines(80), []string{"files    3", "rows   120"}; !slices.Equal(got, want) {
		t.Errorf("no heads: %q, want %q", got, want)
	}
	got := Table{Columns: []Column{{Head: "box"}}}.Lines(80)
	if want := []string{"box", "---"}; !slices.Equal(got, want) {
		t.Errorf("no rows: %q, want %q", got, want)
	}
}
