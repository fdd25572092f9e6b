package record

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
)

type cellAt struct {
	text         string
	line, column int
}

// read splits text the way a caller does.
func read(t *testing.T, text string) (cells [][]cellAt, faults []Fault) {
	t.Helper()
	var r Reader
	r.Reset(strings.NewReader(text), 0, int64(len(text)), 1, false)
	for r.Next() {
		if f := r.Fault(); f != nil {
			faults = append(faults, *f)
			continue
		}
		if r.Blank() {
			continue
		}
		var row []cellAt
		for i, c := range r.Cells() {
			line, column := r.Place(i)
			row = append(row, cellAt{string(c), line, column})
		}
		cells = append(cells, row)
	}
	if r.Err() != nil {
		t.Fatal(r.Err())
	}
	return cells, faults
}

func TestPlaces(t *testing.T) {
	for _, tt := range []struct {
		name, text string
		want       string // text@line:column
	}{
		{"plain", "a,b\nc,dd,e\n", "a@1:1 b@1:3 | c@2:1 dd@2:3 e@2:6"},
		{"crlf and no last line end", "a,b\r\nc,d", "a@1:1 b@1:3 | c@2:1 d@2:3"},
		{"blanks are cut and columns point behind them", " a ,\tb\n", "a@1:2 b@1:6"},
		{"empty cells", ",,x,\n", "@1:1 @1:2 x@1:3 @1:5"},
		{"columns count bytes", "é,b\n", "é@1:1 b@1:4"},
		{"quotes", "\"a,b\",\"c\"\"d\"\n", "a,b@1:1 c\"d@1:7"},
		{"blanks around quotes", " \"a\" , b\n", "a@1:2 b@1:8"},
		{"a line end inside quotes", "\"a\nb\",c\nd,e\n", "a\nb@1:1 c@2:4 | d@3:1 e@3:3"},
		{"quotes and crlf", "\"a\",b\r\n\"c\",d\r\n", "a@1:1 b@1:5 | c@2:1 d@2:5"},
		{"quoted last cell at the end", "\"a\",\"b\"", "a@1:1 b@1:5"},
		{"blank lines count", "\n\na\n,,\nb", "a@3:1 | b@5:1"},
	} {
		cells, faults := read(t, tt.text)
		var rows []string
		for _, row := range cells {
			var s []string
			for _, c := range row {
				s = append(s, fmt.Sprintf("%s@%d:%d", c.text, c.line, c.column))
			}
			rows = append(rows, strings.Join(s, " "))
		}
		if got := strings.Join(rows, " | "); got != tt.want || len(faults) > 0 {
			t.Errorf("%s: %q, %v; want %q", tt.name, got, faults, tt.want)
		}
	}
}

func TestFaults(t *testing.T) {
	for _, tt := range []struct {
		name, text   string
		line, column int
		what         string
		rows         int // that could be read all the same
	}{
		{"a quote not closed", "a,b\nc,\"d\ne,f\n", 2, 3, "not closed", 2},
		{"text behind a quote", "\"a\"b,c\nd,e\n", 1, 1, "follows", 1},
		{"a quote inside a cell", "a,5\" box\nd,e\n", 1, 4, "inside a cell", 1},
		{"a zero byte", "a,b\nc\x00,d\n", 2, 2, "zero byte", 1},
		{"Latin-1", "a,b\nc,M\xfcller\n", 2, 4, "0xfc", 1},
		{"a cut UTF-8 sequence", "a,\xe2\x82\n", 1, 3, "0xe2", 0},
		{"a lone CR", "a,b\rc,d\ne,f\n", 1, 4, "carriage return", 1},
		{"a lone CR beside quotes", "\"a\",b\rc\ne,f\n", 1, 6, "carriage return", 1},
		{"a zero byte on the second line of a cell", "\"a\nb\x00\",c\n", 2, 2, "zero byte", 0},
	} {
		cells, faults := read(t, tt.text)
		if len(faults) != 1 || len(cells) != tt.rows {
			t.Errorf("%s: %v and %d rows, want one fault and %d rows", tt.name, faults, len(cells), tt.rows)
			continue
		}
		if f := faults[0]; f.Line != tt.line || f.Column != tt.column || !strings.Contains(f.What, tt.what) || f.Mend == "" {
			t.Errorf("%s: %+v, want %d:%d %q", tt.name, f, tt.line, tt.column, tt.what)
		}
	}
}

func TestStart(t *testing.T) {
	for _, tt := range []struct {
		name, text, what string
		line, column     int
		start            int64
	}{
		{"plain", "a,b\n", "", 0, 0, 0},
		{"a byte order mark", "\xef\xbb\xbfa,b\n", "", 0, 0, 3},
		{"UTF-16 little end first", "\xff\xfea\x00,\x00", "UTF-16", 1, 1, 0},
		{"UTF-16 big end first", "\xfe\xff\x00a\x00,", "UTF-16", 1, 1, 0},
		{"UTF-16 without a mark", "a\x00,\x00b\x00\n\x00", "UTF-16", 1, 1, 0},
		{"UTF-32", "\xff\xfe\x00\x00a\x00\x00\x00", "UTF-32", 1, 1, 0},
		{"CR alone", "a,b\rc,d\r", "carriage return", 1, 4, 0},
		{"a zip archive", "PK\x03\x04....", "zip", 1, 1, 0},
		{"Parquet", "PAR1....", "Parquet", 1, 1, 0},
		{"empty", "", "", 0, 0, 0},
	} {
		start, fault, err := Start(strings.NewReader(tt.text), int64(len(tt.text)))
		if err != nil {
			t.Fatal(err)
		}
		if tt.what == "" {
			if fault != nil || start != tt.start {
				t.Errorf("%s: %d, %+v; want %d", tt.name, start, fault, tt.start)
			}
			continue
		}
		if fault == nil || !strings.Contains(fault.What, tt.what) || fault.Line != tt.line || fault.Column != tt.column || fault.Mend == "" {
			t.Errorf("%s: %+v, want %d:%d %q", tt.name, fault, tt.line, tt.column, tt.what)
		}
	}
}

// TestAgreesWithStandardLibrary splits random text and compares the cells with
// those of encoding/csv. Texts that either of the two refuses are compared in
// that alone.
func TestAgreesWithStandardLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	pieces := []string{"a", "bc", ",", ",", "\n", "\r\n", "\"", "\"\"", "\"x,y\"", "\"p\nq\"", "é", "1.5", " "}
	accepted := 0
	for range 50000 {
		var text strings.Builder
		for range 1 + r.IntN(14) {
			text.WriteString(pieces[r.IntN(len(pieces))])
		}
		compare(t, text.String(), &accepted)
	}
	if accepted < 5000 {
		t.Errorf("only %d texts were accepted by both", accepted)
	}
}

func compare(t *testing.T, text string, accepted *int) {
	t.Helper()
	std := csv.NewReader(strings.NewReader(text))
	std.FieldsPerRecord = -1
	var want [][]string
	var stdErr error
	for {
		row, err := std.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			stdErr = err
			break
		}
		blank := true
		for i := range row {
			row[i] = strings.TrimSpace(row[i])
			blank = blank && row[i] == ""
		}
		if !blank {
			want = append(want, row)
		}
	}
	cells, faults := read(t, text)
	if stdErr == nil && len(faults) > 0 || stdErr != nil && len(faults) == 0 {
		// Blanks before a quote are permitted here, and not there.
		if !strings.Contains(text, " ") {
			t.Fatalf("%q: faults %v, encoding/csv says %v", text, faults, stdErr)
		}
		return
	}
	if stdErr != nil {
		return
	}
	var got [][]string
	for _, row := range cells {
		var s []string
		for _, c := range row {
			s = append(s, c.text)
		}
		got = append(got, s)
	}
	if strings.Contains(text, " ") && strings.Contains(text, "\"") {
		return // as above
	}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Fatalf("%q: %q, encoding/csv says %q", text, got, want)
	}
	*accepted++
}

// TestBlocks reads more than a block, so that lines are cut by its end, with and
// without quotes, from any offset.
func TestBlocks(t *testing.T) {
	for _, form := range []string{"%d,label,-47.%02d\n", "%d,\"la\nbel\",-47.%02d\r\n"} {
		var text bytes.Buffer
		var offsets []int64
		const rows = 60000
		for i := range rows {
			offsets = append(offsets, int64(text.Len()))
			fmt.Fprintf(&text, form, i, i%100)
		}
		perRow := strings.Count(form, "\n")
		src := bytes.NewReader(text.Bytes())
		plain := false
		for _, from := range []int{0, 0, 1, 31234, rows - 1} {
			var r Reader
			r.Reset(src, offsets[from], int64(text.Len()), 1+from*perRow, plain)
			i := from
			for ; r.Next(); i++ {
				if r.Fault() != nil {
					t.Fatalf("row %d: %+v", i, r.Fault())
				}
				c := r.Cells()
				if string(c[0]) != fmt.Sprint(i) || r.Line() != 1+i*perRow || r.At() != offsets[i] {
					t.Fatalf("row %d: cells %q at %d:%d", i, c, r.Line(), r.At())
				}
			}
			plain = r.Plain()
			if plain == strings.Contains(form, "\"") {
				t.Errorf("Plain() = %v", plain)
			}
			if i != rows || r.After() != int64(text.Len()) || r.Err() != nil {
				t.Fatalf("read up to row %d of %d, %v", i, rows, r.Err())
			}
		}
	}
}

func TestLongLine(t *testing.T) {
	text := strings.Repeat("x", 3*MaxLine) + "\na,b\n"
	cells, faults := read(t, text)
	if len(faults) != 1 || faults[0].Line != 1 || len(cells) != 1 || cells[0][0].line != 2 {
		t.Errorf("%v, %v", cells, faults)
	}
	// A long cell inside the limit is a cell.
	cells, faults = read(t, "a,"+strings.Repeat("y", MaxLine/2)+",b\n")
	if len(faults) != 0 || len(cells) != 1 || cells[0][2].text != "b" {
		t.Errorf("%d rows, %v", len(cells), faults)
	}
}

type failing struct{ after int64 }

func (f failing) ReadAt(b []byte, off int64) (int, error) {
	if off+int64(len(b)) > f.after {
		return 0, io.ErrClosedPipe
	}
	for i := range b {
		b[i] = "a,b\n"[(off+int64(i))%4]
	}
	return len(b), nil
}

func TestSourceFails(t *testing.T) {
	var r Reader
	r.Reset(failing{after: block}, 0, 4*block, 1, false)
	for r.Next() {
	}
	if r.Err() != io.ErrClosedPipe {
		t.Errorf("Err() = %v", r.Err())
	}
}

// Lines hands out lines whose quotes stand around whole cells, up to the first that has
// others; Next takes that one, and Lines those behind it.
func TestLinesWithQuotes(t *testing.T) {
	for _, tt := range []struct {
		text string
		want []string // what Lines and, with a ! before it, Next give
	}{
		{"\"a\",1\n\"b\",\"2\"\r\n\"\",\"\"\n", []string{"\"a\",1\n\"b\",\"2\"\r\n\"\",\"\"\n"}},
		{"a,1\n\"b,c\",2\n\"d\",3\n", []string{"a,1\n", "!\"b,c\",2", "\"d\",3\n"}},
		{"\"a\"\"\",1\n\"b\nc\",2\n\"d\",3\n\"e\",4", []string{"!\"a\"\"\",1", "!\"b\nc\",2", "\"d\",3\n", "!\"e\",4"}},
		{"a\"b,1\n \"c\",2\n\"d\" ,3\n\"e\"f,4\n", []string{"!a\"b,1", "! \"c\",2", "!\"d\" ,3", "!\"e\"f,4"}},
		{"\"a\n\"b\",1\n", []string{"!\"a", "\"b\",1\n"}},
		{"\"a\",\xff\n", []string{"!\"a\",\xff"}},
	} {
		var r Reader
		r.Reset(strings.NewReader(tt.text), 0, int64(len(tt.text)), 1, false)
		var got []string
		for {
			if lines := r.Lines(); lines != nil {
				got = append(got, string(lines))
				r.Take(len(lines), strings.Count(string(lines), "\n"))
				continue
			}
			if !r.Next() {
				break
			}
			got = append(got, "!"+string(r.Text()))
		}
		if r.Err() != nil || strings.Join(got, "|") != strings.Join(tt.want, "|") {
			t.Errorf("%q: got %q, want %q (%v)", tt.text, got, tt.want, r.Err())
		}
		if r.Tame() != (len(tt.want) == 1 && tt.want[0][0] != '!') {
			t.Errorf("%q: tame %v", tt.text, r.Tame())
		}
	}
}
