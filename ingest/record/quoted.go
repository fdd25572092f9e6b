package record

import "bytes"

// careful splits a record with quotes. The record may run over several lines.
// Where the quoting is broken the record is its first line alone, a Fault, so
// that a stray quote costs one line and not the rest of the file.
func (r *Reader) careful() {
	for r.fill-r.start < MaxQuoted && r.base+int64(r.fill) < r.end {
		line, taken := r.stop-r.start, r.pos-r.start
		r.pos = r.start // keep the line's beginning
		if !r.more() {
			return
		}
		r.start, r.stop, r.pos = 0, line, taken
	}
	ahead := r.buf[r.start:min(r.fill, r.start+MaxQuoted)]
	whole, fault := r.split(ahead)
	if fault != nil {
		r.fault = fault
		return
	}
	text := ahead[:whole]
	r.pos = r.start + whole
	if whole > 0 && text[whole-1] == '\n' {
		text = text[:whole-1]
		if n := len(text); n > 0 && text[n-1] == '\r' {
			text = text[:n-1]
		}
	}
	r.line = r.recordLine + 1 + bytes.Count(text, []byte{'\n'})
	if len(text) > r.stop-r.start { // what follows the first line has not been looked at
		if r.fault = badBytes(text, r.recordLine); r.fault != nil {
			before := text[:r.fault.Column-1]
			r.fault.Line += bytes.Count(before, []byte{'\n'})
			r.fault.Column -= bytes.LastIndexByte(before, '\n') + 1
		}
	}
	r.stop, r.quoted = r.start+len(text), true
}

// split takes cells off b until the record ends and returns its length, line
// end included.
func (r *Reader) split(b []byte) (int, *Fault) {
	line, lineStart, i := r.recordLine, 0, 0
	r.flat, r.ends, r.columns, r.lines, r.lastKept = r.flat[:0], r.ends[:0], r.columns[:0], r.lines[:0], false
	for {
		cell := i
		for i < len(b) && (b[i] == ' ' || b[i] == '\t') {
			i++
		}
		at, atLine := i-lineStart+1, line
		if i < len(b) && b[i] == '"' {
			opened := i
			for i++; ; i++ {
				if i >= len(b) {
					return 0, &Fault{atLine, at, excerpt(b[opened:]), "a quote is opened and not closed", `close it, or write "" for a quote inside a quoted cell`}
				}
				if b[i] == '"' {
					if i+1 < len(b) && b[i+1] == '"' {
						i++
					} else {
						break
					}
				}
				if b[i] == '\n' {
					line, lineStart = line+1, i+1
				}
				if b[i] == '\r' && i+1 < len(b) && b[i+1] == '\n' {
					continue // a line end inside a cell is LF, whatever the file's
				}
				r.flat = append(r.flat, b[i])
			}
			for i++; i < len(b) && (b[i] == ' ' || b[i] == '\t'); i++ {
			}
			if i+1 < len(b) && b[i] == '\r' && b[i+1] == '\n' {
				i++
			}
			if i < len(b) && b[i] != ',' && b[i] != '\n' {
				return 0, &Fault{atLine, at, excerpt(b[opened:]), "text follows the end of a quoted cell", `write "" for a quote inside a quoted cell`}
			}
		} else {
			for i < len(b) && b[i] != ',' && b[i] != '\n' {
				if b[i] == '"' {
					return 0, &Fault{line, i - lineStart + 1, excerpt(b[cell:]), "a quote stands inside a cell that is not quoted", `quote the whole cell and write "" for the quote`}
				}
				if b[i] == '\r' && (i+1 >= len(b) || b[i+1] != '\n') {
					return 0, &Fault{line, i - lineStart + 1, "", loneCR, mendCR}
				}
				i++
			}
			trimmed := Trim(b[cell:i])
			if len(trimmed) == 0 {
				at = cell - lineStart + 1
			}
			r.flat = append(r.flat, trimmed...)
		}
		r.ends, r.columns, r.lines = append(r.ends, int32(len(r.flat))), append(r.columns, int32(at)), append(r.lines, int32(atLine))
		r.flat = append(r.flat, ',')
		if i >= len(b) {
			return i, nil
		}
		i++
		if b[i-1] == '\n' {
			return i, nil
		}
	}
}

// excerpt is the beginning of a line, short enough for a message.
func excerpt(b []byte) string {
	if n := bytes.IndexByte(b, '\n'); n >= 0 {
		b = b[:n]
	}
	const most = 40
	if len(b) > most {
		b = b[:most]
	}
	return string(bytes.ToValidUTF8(bytes.TrimRight(b, "\r"), nil))
}
