package trace

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"sealbound/ingest/reading"
)

// A text is a file as lines, decoded one at a time.
type text struct {
	data     []byte // behind the byte order mark
	encoding string // utf-8, latin-1, utf-16
	swapped  bool   // utf-16 with the high byte first
}

// open settles the encoding of a file: declared, UTF-8 where it is not. What the
// file's first bytes say against it is a problem.
func open(data []byte, declared string) (text, *reading.Problem) {
	refuse := func(what, mend string) (text, *reading.Problem) {
		return text{}, &reading.Problem{Line: 1, Column: 1, What: what, Mend: mend}
	}
	t := text{data: data, encoding: declared}
	if t.encoding == "" {
		t.encoding = "utf-8"
	}
	little, big := bytes.HasPrefix(data, []byte{0xff, 0xfe}), bytes.HasPrefix(data, []byte{0xfe, 0xff})
	switch {
	case bytes.HasPrefix(data, []byte{0xff, 0xfe, 0, 0}), bytes.HasPrefix(data, []byte{0, 0, 0xfe, 0xff}):
		return refuse("the file is UTF-32", "save it as UTF-8")
	case bytes.HasPrefix(data, []byte("PK\x03\x04")), bytes.HasPrefix(data, []byte{0xd0, 0xcf, 0x11, 0xe0}):
		return refuse("the file is a spreadsheet or an archive", "save the table as CSV")
	case (little || big) && t.encoding != "utf-16":
		return refuse("the file is UTF-16, as its byte order mark says", "")
	case t.encoding == "utf-16" && !little && !big:
		return refuse("the file does not begin with the byte order mark of UTF-16", "save it as UTF-8, or as UTF-16 with its mark")
	case t.encoding == "utf-16":
		t.data, t.swapped = data[2:], big
		if len(t.data)%2 == 1 {
			return refuse("the file is UTF-16 and ends inside a character", "save it again")
		}
	case bytes.HasPrefix(data, []byte("\xef\xbb\xbf")):
		if t.encoding != "utf-8" {
			return refuse("the file is UTF-8, as its byte order mark says", "declare in runs.csv encoding=utf-8")
		}
		t.data = data[3:]
	}
	return t, nil
}

// cut takes the first line off rest, without its end.
func (t *text) cut(rest []byte) (line, after []byte) {
	if t.encoding != "utf-16" {
		if n := bytes.IndexByte(rest, '\n'); n >= 0 {
			return rest[:n], rest[n+1:]
		}
		return rest, nil
	}
	for i := 0; i+1 < len(rest); i += 2 {
		if t.unit(rest[i:]) == '\n' {
			return rest[:i], rest[i+2:]
		}
	}
	return rest, nil
}

func (t *text) unit(b []byte) uint16 {
	if t.swapped {
		return uint16(b[0])<<8 | uint16(b[1])
	}
	return uint16(b[1])<<8 | uint16(b[0])
}

// count is the number of lines.
func (t *text) count() int {
	n := 0
	for rest := t.data; len(rest) > 0; n++ {
		_, rest = t.cut(rest)
	}
	return n
}

// check looks for what makes a file no text in its encoding: it returns the first
// such place.
func (t *text) check() *reading.Problem {
	number := 0
	for rest := t.data; len(rest) > 0; {
		var line []byte
		line, rest = t.cut(rest)
		number++
		if len(line) > MaxLine {
			return &reading.Problem{Line: number, Column: 1, What: "the line is longer than a megabyte", Mend: "check the line ends of the file"}
		}
		at, what, mend := t.flaw(line)
		if what != "" {
			return &reading.Problem{Line: number, Column: at + 1, What: what, Mend: mend}
		}
	}
	return nil
}

// flaw finds the first byte of a line that cannot be read, its offset and why.
func (t *text) flaw(line []byte) (at int, what, mend string) {
	const ends = "save the file with LF or CRLF line ends"
	if t.encoding == "utf-16" {
		for i := 0; i+1 < len(line); i += 2 {
			u := t.unit(line[i:])
			switch {
			case u == 0:
				return i, "a NUL character", "save the trace again"
			case u == '\r' && i+2 < len(line):
				return i, "a carriage return stands without a line feed", ends
			case utf16.IsSurrogate(rune(u)):
				if i+3 >= len(line) || utf16.DecodeRune(rune(u), rune(t.unit(line[i+2:]))) == utf8.RuneError {
					return i, "half a character of UTF-16", "save the trace again"
				}
				i += 2
			}
		}
		return 0, "", ""
	}
	if i := bytes.IndexByte(line, 0); i >= 0 {
		return i, "a NUL byte: the file is not text, or UTF-16 without its mark", "save it as UTF-8"
	}
	if t.encoding == "utf-8" && !utf8.Valid(line) {
		for i := 0; i < len(line); {
			r, n := utf8.DecodeRune(line[i:])
			if r == utf8.RuneError && n == 1 {
				return i, fmt.Sprintf("byte 0x%02x is not UTF-8", line[i]), ""
			}
			i += n
		}
	}
	if i := bytes.IndexByte(line, '\r'); i >= 0 && i+1 < len(line) {
		return i, "a carriage return stands without a line feed", ends
	}
	return 0, "", ""
}

// each decodes the lines in order and calls visit with the number of each until
// it returns false.
func (t *text) each(visit func(number int, line string) bool) {
	number := 0
	for rest := t.data; len(rest) > 0; {
		var line []byte
		line, rest = t.cut(rest)
		number++
		if !visit(number, t.decode(line)) {
			return
		}
	}
}

// line decodes the line of a number; false where the file has no such line.
func (t *text) line(number int) (line string, ok bool) {
	t.each(func(n int, s string) bool {
		line, ok = s, n == number
		return n < number
	})
	return line, ok
}

// decode turns a line into UTF-8 and drops a carriage return at its end.
func (t *text) decode(line []byte) string {
	switch t.encoding {
	case "utf-16":
		units := make([]uint16, len(line)/2)
		for i := range units {
			units[i] = t.unit(line[2*i:])
		}
		return strings.TrimSuffix(string(utf16.Decode(units)), "\r")
	case "latin-1":
		var b strings.Builder
		for _, c := range bytes.TrimSuffix(line, []byte("\r")) {
			b.WriteRune(rune(c))
		}
		return b.String()
	}
	return string(bytes.TrimSuffix(line, []byte("\r")))
}

// column is the place in the file's own bytes, 1-based, of an offset in a decoded
// line.
func (t *text) column(line string, offset int) int {
	before := line[:offset]
	switch t.encoding {
	case "utf-16":
		n := 0
		for _, r := range before {
			n += 2 * utf16.RuneLen(r)
		}
		return n + 1
	case "latin-1":
		return utf8.RuneCountInString(before) + 1
	}
	return offset + 1
}
