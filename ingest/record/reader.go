// Package record splits CSV text into records of cells, each with its place.
//
// It reads comma-separated UTF-8 with LF or CRLF line ends and RFC 4180
// quoting. A record that breaks those rules is a Fault with line and column;
// reading goes on with the next line. Nothing here knows what a cell means.
package record

import (
	"bytes"
	"encoding/binary"
	"io"
	"math/bits"
	"unicode/utf8"
)

// Limits that keep one damaged file from taking all memory: a line without an
// end, and a quote that is never closed.
const (
	MaxLine   = 1 << 20
	MaxQuoted = 1 << 16
	block     = 1 << 18
)

// A Fault is a record that cannot be split: where, what stands there, what is
// wrong and what would mend it. Column counts bytes from 1.
type Fault struct {
	Line, Column     int
	Text, What, Mend string
}

// A Reader yields the records of a part of a file. The zero value is ready for
// Reset. All slices it hands out are dead after the next call of Next.
type Reader struct {
	src         io.ReaderAt
	base        int64 // file offset of buf[0]
	end         int64 // file offset where reading stops
	buf         []byte
	pos, fill   int
	plain       bool // the caller vouches that no byte is unusual
	unusual     bool // buf may hold a quote, a CR, a NUL or a byte above ASCII
	surprised   bool // some buf did
	quotes      bool // some buf held a quote
	vouched     bool // the caller vouches that all lines are tame
	tame        bool // the whole lines in buf are such as Lines returns
	text        bool // they hold no zero byte and are UTF-8
	simple      int  // up to where quotes in buf were found to stand around whole cells
	wild        bool // some buf was not tame
	whole       int  // the end of the last whole line in buf; 0 where there is none
	sips        bool // little is read at a time
	line        int  // of what follows
	err         error
	start, stop int // of the record in buf, without its line end
	recordLine  int
	fault       *Fault
	quoted      bool

	// Offsets, not slices: writing pointers costs while memory is being collected.
	ends                []int32 // of each cell, in the record or in flat
	lastStart, lastStop int     // of the record in buf that ends belongs to
	lastKept            bool
	same                int
	flat                []byte  // the cells of a quoted record, a byte behind each
	columns             []int32 // of the cells of a quoted record
	lines               []int32
}

// Reset makes the reader start at offset from of src, which is the beginning of
// the given line, and stop before offset end. plain tells that an earlier reading
// of the same bytes ended with Plain.
func (r *Reader) Reset(src io.ReaderAt, from, end int64, line int, plain bool) {
	r.src, r.base, r.end, r.line, r.plain = src, from, end, line, plain
	r.pos, r.fill, r.err, r.fault, r.unusual, r.surprised, r.quotes, r.lastKept = 0, 0, nil, nil, false, false, false, false
	r.vouched, r.tame, r.wild, r.whole, r.sips = false, false, false, 0, false
	r.text, r.simple = false, 0
}

// Plain reports whether all bytes read so far were ASCII without quotes, carriage
// returns and zero bytes.
func (r *Reader) Plain() bool { return r.plain || !r.surprised }

// Next advances to the next record, blank lines included. It returns false at
// the end and on a failure of the source, which Err then tells.
func (r *Reader) Next() bool {
	r.fault, r.quoted = nil, false
	n := bytes.IndexByte(r.buf[r.pos:r.fill], '\n')
	for n < 0 && r.base+int64(r.fill) < r.end {
		if r.fill-r.pos >= MaxLine {
			return r.overlong()
		}
		if !r.more() {
			return false
		}
		n = bytes.IndexByte(r.buf[r.pos:r.fill], '\n')
	}
	if r.pos == r.fill {
		return false
	}
	r.recordLine = r.line
	r.line++
	r.start = r.pos
	if n >= 0 {
		r.stop = r.pos + n
		r.pos = r.stop + 1
	} else {
		r.stop, r.pos = r.fill, r.fill
	}
	if r.unusual {
		r.inspect(n >= 0)
	}
	return r.err == nil
}

// Quotes reports whether a quote was among the bytes read so far.
func (r *Reader) Quotes() bool { return r.quotes }

// Quoted reports whether the record has a quote.
func (r *Reader) Quoted() bool { return r.quoted }

// more reads on, keeping what is not yet consumed.
func (r *Reader) more() bool {
	copy(r.buf, r.buf[r.pos:r.fill])
	r.base += int64(r.pos)
	r.fill -= r.pos
	r.pos, r.lastKept = 0, false
	if sip := max(r.fill, 1<<12); r.sips && r.fill+sip <= len(r.buf) {
		return r.read(sip)
	}
	if r.fill == len(r.buf) || len(r.buf) < block {
		size := max(2*len(r.buf), 1<<12)
		if left := r.end - r.base; r.sips && left > int64(size) {
			// as much as that
		} else if left > int64(size) {
			size = max(size, block)
		} else {
			size = max(int(left), len(r.buf))
		}
		if size > len(r.buf) {
			grown := make([]byte, size, size+Slack)
			copy(grown, r.buf[:r.fill])
			r.buf = grown
		}
	}
	return r.read(len(r.buf) - r.fill)
}

// read puts at most so many bytes behind those in the buffer.
func (r *Reader) read(most int) bool {
	want := min(int64(most), r.end-r.base-int64(r.fill))
	n, err := r.src.ReadAt(r.buf[r.fill:r.fill+int(want)], r.base+int64(r.fill))
	if int64(n) < want {
		if err == nil || err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		r.err = err
		return false
	}
	r.fill += n
	r.look()
	return true
}

func ascii(b []byte) bool {
	const high = 0x8080808080808080
	for len(b) >= 32 {
		w := b[:32:32]
		if (binary.LittleEndian.Uint64(w)|binary.LittleEndian.Uint64(w[8:])|binary.LittleEndian.Uint64(w[16:])|binary.LittleEndian.Uint64(w[24:]))&high != 0 {
			return false
		}
		b = b[32:]
	}
	for _, c := range b {
		if c >= utf8.RuneSelf {
			return false
		}
	}
	return true
}

// inspect looks at a line from a block with unusual bytes.
func (r *Reader) inspect(ended bool) {
	if ended && r.stop > r.start && r.buf[r.stop-1] == '\r' {
		r.stop--
	}
	text := r.Text()
	if r.fault = badBytes(text, r.recordLine); r.fault != nil {
		return
	}
	if bytes.IndexByte(text, '"') >= 0 {
		r.careful()
	} else if i := bytes.IndexByte(text, '\r'); i >= 0 {
		r.fault = &Fault{r.recordLine, i + 1, "", loneCR, mendCR}
	}
}

// badBytes finds what cannot be UTF-8 text.
func badBytes(b []byte, line int) *Fault {
	if i := bytes.IndexByte(b, 0); i >= 0 {
		return &Fault{line, i + 1, "", "a zero byte stands in the text", "save the file as UTF-8 text"}
	}
	if utf8.Valid(b) {
		return nil
	}
	for i := 0; i < len(b); {
		c, size := utf8.DecodeRune(b[i:])
		if c == utf8.RuneError && size == 1 {
			return &Fault{line, i + 1, "", "byte " + hex(b[i]) + " is not UTF-8", "save the file as UTF-8 text (it may be Latin-1 or Windows-1252)"}
		}
		i += size
	}
	return nil
}

func hex(c byte) string {
	const digits = "0123456789abcdef"
	return "0x" + string([]byte{digits[c>>4], digits[c&15]})
}

const (
	loneCR = "a carriage return stands without a line feed"
	mendCR = "save the file with LF or CRLF line ends"
)

// overlong gives up on a line beyond MaxLine and skips to its end.
func (r *Reader) overlong() bool {
	at := r.base + int64(r.pos)
	r.recordLine = r.line
	r.fault = &Fault{r.line, 1, "", "the line is longer than a megabyte", "check the line ends of the file, or leave out columns"}
	if i := bytes.IndexByte(r.buf[r.pos:r.fill], 0); i >= 0 { // no text at all
		r.fault = badBytes(r.buf[r.pos:r.pos+i+1], r.line)
	}
	r.line++
	for more := true; more; {
		if n := bytes.IndexByte(r.buf[r.pos:r.fill], '\n'); n >= 0 {
			r.pos += n + 1
			break
		}
		r.pos = r.fill
		if r.base+int64(r.fill) >= r.end {
			break
		}
		more = r.more()
	}
	r.start, r.stop = int(at-r.base), int(at-r.base) // before buf[0]: the text is not kept
	return r.err == nil
}

// Err returns what kept the source from being read to its end.
func (r *Reader) Err() error { return r.err }

// Fault returns what is wrong with the record, nil where it can be split.
func (r *Reader) Fault() *Fault { return r.fault }

// Line is the 1-based line on which the record begins.
func (r *Reader) Line() int { return r.recordLine }

// NextLine is the line after the record.
func (r *Reader) NextLine() int { return r.line }

// At is the file offset at which the record begins.
func (r *Reader) At() int64 { return r.base + int64(r.start) }

// After is the file offset behind the record and its line end.
func (r *Reader) After() int64 { return r.base + int64(r.pos) }

// Text is the record as it stands, without its line end.
func (r *Reader) Text() []byte { return r.buf[max(r.start, 0):max(r.stop, 0)] }

// Blank reports whether the record holds nothing but blanks and commas.
func (r *Reader) Blank() bool {
	if r.stop > r.start && r.buf[r.start] > ',' || r.fault != nil {
		return false
	}
	if r.quoted {
		for i := range r.ends {
			if len(r.Cell(i)) > 0 {
				return false
			}
		}
		return true
	}
	for _, c := range r.Text() {
		if c != ',' && c != ' ' && c != '\t' {
			return false
		}
	}
	return true
}

// Split finds the cells of the record, the first most of them, and returns how
// many it found. It must not be called on a record with a Fault.
func (r *Reader) Split(most int) int {
	if r.quoted {
		r.same, r.lastKept = 0, false
		return min(most, len(r.ends))
	}
	text, from := r.buf[r.start:r.stop], 0
	r.same = 0
	if r.lastKept {
		n := int32(Common(r.buf[r.lastStart:r.lastStop], text))
		for r.same < len(r.ends) && r.ends[r.same] < n {
			r.same++
		}
		r.same = min(r.same, most)
		if r.same > 0 {
			from = int(r.ends[r.same-1]) + 1
		}
	}
	r.lastStart, r.lastStop, r.lastKept = r.start, r.stop, true
	ends := r.ends[:r.same]
	if r.same < most {
		for i := from; i < len(text); i++ {
			if text[i] == ',' {
				if ends = append(ends, int32(i)); len(ends) == most {
					break
				}
			}
		}
		if len(ends) < most {
			ends = append(ends, int32(len(text)))
		}
	}
	r.ends = ends
	return len(ends)
}

// Same is how many cells, from the first on, Split found to be those of the
// record that was split before: the same bytes.
func (r *Reader) Same() int { return r.same }

// Cell is cell i of the record last split, without blanks around it.
func (r *Reader) Cell(i int) []byte {
	from := 0
	if i > 0 {
		from = int(r.ends[i-1]) + 1
	}
	if r.quoted {
		return Trim(r.flat[from:r.ends[i]])
	}
	return Trim(r.buf[r.start+from : r.start+int(r.ends[i])])
}

// Cells lists all cells of the record.
func (r *Reader) Cells() [][]byte {
	cells := make([][]byte, r.Split(1<<30))
	for i := range cells {
		cells[i] = r.Cell(i)
	}
	return cells
}

// Common is how many bytes a and b begin with alike.
func Common(a, b []byte) int {
	n := min(len(a), len(b))
	i := 0
	for ; i+8 <= n; i += 8 {
		if x := binary.LittleEndian.Uint64(a[i:]) ^ binary.LittleEndian.Uint64(b[i:]); x != 0 {
			return i + bits.TrailingZeros64(x)/8
		}
	}
	for ; i < n && a[i] == b[i]; i++ {
	}
	return i
}

// Trim cuts surrounding white space, Unicode's included.
func Trim(b []byte) []byte {
	if n := len(b); n == 0 || (b[0] > ' ' && b[0] < utf8.RuneSelf && b[n-1] > ' ' && b[n-1] < utf8.RuneSelf) {
		return b
	}
	return bytes.TrimSpace(b)
}

// Place returns the line and the column in bytes of cell i of the record last
// split, pointing at its first byte, the quote where it is quoted.
func (r *Reader) Place(i int) (line, column int) {
	if r.quoted {
		return int(r.lines[i]), int(r.columns[i])
	}
	text, from := r.Text(), 0
	if i > 0 {
		from = int(r.ends[i-1]) + 1
	}
	for at := from; at < int(r.ends[i]); at++ { // blanks before the cell are not the cell
		if text[at] != ' ' && text[at] != '\t' {
			return r.recordLine, at + 1
		}
	}
	return r.recordLine, from + 1
}
