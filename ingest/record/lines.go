package record

import (
	"bytes"
	"unicode/utf8"
)

// Slack is how many bytes behind what Lines returns may be looked at, whatever
// they hold.
const Slack = 16

// Lines returns the whole lines that stand ready to be read, with their line
// ends, where none of them holds a zero byte and all are UTF-8: lines that split at
// commas and need no further care, but for carriage returns and for quotes around
// whole cells, which Bare takes off. It is nil at the end, for a last line without a
// line end, and where the bytes at hand are not of that kind, as with a quote, a comma
// or a line end inside a quoted cell; Next then yields the record that follows.
//
// A caller that reads lines by itself tells so with Take.
func (r *Reader) Lines() []byte {
	for r.pos >= r.whole && r.base+int64(r.fill) < r.end {
		if r.fill-r.pos >= MaxLine || r.err != nil || !r.more() {
			return nil
		}
	}
	switch {
	case r.pos >= r.whole:
		return nil
	case r.tame:
		return r.buf[r.pos:r.whole]
	case !r.text:
		return nil
	case r.pos >= r.simple:
		r.simple = r.pos + simple(r.buf[r.pos:r.whole])
	}
	if r.pos >= r.simple {
		return nil
	}
	return r.buf[r.pos:r.simple]
}

// ends are the bytes that end a quoted cell, rightly or not.
var ends = [256]bool{'"': true, ',': true, '\n': true, '\r': true}

// simple is how long the first lines of text are that have quotes, if any, around
// whole cells alone, and within them neither quotes nor commas nor line ends. text is
// whole lines.
func simple(text []byte) int {
	for p := 0; ; {
		i := p + 1 // after one cell there is often another
		if p+1 >= len(text) || text[p] != ',' || text[i] != '"' {
			if i = bytes.IndexByte(text[p:], '"'); i < 0 {
				return len(text)
			}
			i += p
		}
		j := i + 1
		for !ends[text[j]] {
			j++
		}
		begins := i == 0 || text[i-1] == ',' || text[i-1] == '\n'
		if !begins || text[j] != '"' || text[j+1] != ',' && text[j+1] != '\n' && (text[j+1] != '\r' || text[j+2] != '\n') {
			return bytes.LastIndexByte(text[:i], '\n') + 1
		}
		p = j + 1
	}
}

// Bare is a cell of what Lines returned without the quotes and the blanks around it.
func Bare(b []byte) []byte {
	b = Trim(b)
	if n := len(b); n > 1 && b[0] == '"' {
		return Trim(b[1 : n-1])
	}
	return b
}

// Take goes past the first lines of what Lines returned, which are that many
// bytes long.
func (r *Reader) Take(bytes, lines int) {
	r.pos += bytes
	r.line += lines
	r.lastKept = false
}

// Vouch tells, after Reset, that an earlier reading of the same bytes ended with
// Tame.
func (r *Reader) Vouch() { r.vouched = true }

// Sip tells, after Reset, that few records will be read: the source is then read a
// few kilobytes at a time.
func (r *Reader) Sip() { r.sips = true }

// Tame reports whether Lines could have returned all bytes that were read so far.
func (r *Reader) Tame() bool { return r.vouched || r.plain || !r.wild }

// look finds out what kind of bytes the buffer holds.
func (r *Reader) look() {
	text := r.buf[:r.fill]
	r.whole = bytes.LastIndexByte(text, '\n') + 1
	switch {
	case r.plain:
		r.tame = true
		return
	case r.vouched:
		r.tame, r.unusual, r.surprised = true, true, true
		return
	}
	quote, zero, plain := bytes.IndexByte(text, '"') >= 0, bytes.IndexByte(text, 0) >= 0, ascii(text)
	r.unusual = quote || zero || !plain || bytes.IndexByte(text, '\r') >= 0
	r.text = !zero && (plain || utf8.Valid(text[:r.whole]))
	r.simple = 0
	if r.tame = r.text; quote && r.text {
		r.simple = simple(text[:r.whole])
		r.tame = r.simple == r.whole
	}
	unended := quote && r.base+int64(r.fill) == r.end && bytes.IndexByte(text[r.whole:], '"') >= 0 // the last line, which was not looked at
	r.surprised, r.quotes, r.wild = r.surprised || r.unusual, r.quotes || quote, r.wild || !r.tame || unended
}
