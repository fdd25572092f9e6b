package record

import (
	"bytes"
	"unicode/utf8"
)

// Slack is how many bytes behind what Lines returns may be looked at, whatever
// they hold.
const Slack = 16

// Lines returns the whole lines that stand ready to be read, with their line
// ends, where none of them holds a quote or a zero byte and all are UTF-8: lines
// that split at commas and need no further care, but for carriage returns. It is
// nil at the end, for a last line without a line end, and where the bytes at hand
// are not of that kind; Next then yields the record that follows.
//
// A caller that reads lines by itself tells so with Take.
func (r *Reader) Lines() []byte {
	for r.pos >= r.whole && r.base+int64(r.fill) < r.end {
		if r.fill-r.pos >= MaxLine || r.err != nil || !r.more() {
			return nil
		}
	}
	if r.pos >= r.whole || !r.tame {
		return nil
	}
	return r.buf[r.pos:r.whole]
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
	r.tame = !quote && !zero && (plain || utf8.Valid(text[:r.whole]))
	r.surprised, r.quotes, r.wild = r.surprised || r.unusual, r.quotes || quote, r.wild || !r.tame
}
