package longcsv

import (
	"bytes"
	"context"

	"sealbound/ingest/reading"
	"sealbound/ingest/record"
)

// A walker goes through the rows of a part of a file for their run and date, and
// for whether they are open readings.
type walker struct {
	run, date, state int // cells
	key, need        int // how many cells hold run and date; those and the state
	keys             *keys
	put              func(stretch)
	now              stretch
	begun            bool
	count            reading.Count

	// Rows that begin with prefix are of the stretch at hand, and nothing is to be
	// learned from them.
	prefix []byte
	known  bool // prefix holds for the stretch at hand
	filled bool // prefix is not blank, and so are rows that begin with it
}

// walk goes through the records of r and hands their stretches to put.
func (t *table) walk(ctx context.Context, r *record.Reader, keys *keys, put func(stretch)) (reading.Count, error) {
	w := walker{run: t.header.at[reading.Run], date: t.header.at[reading.Date], state: t.header.at[reading.State], keys: keys, put: put}
	w.key = max(w.run, w.date) + 1
	w.need = max(w.key, w.state+1)
	for n := 1; ; n++ {
		if text := r.Lines(); text != nil && !t.careful {
			if ctx.Err() != nil {
				return w.count, ctx.Err()
			}
			taken, lines := w.lines(text, r.After(), r.NextLine())
			if r.Take(taken, lines); taken == len(text) {
				continue
			}
		}
		if !r.Next() {
			break
		}
		if n%4096 == 0 && ctx.Err() != nil {
			return w.count, ctx.Err()
		}
		w.record(r)
	}
	if w.begun {
		put(w.now)
	}
	return w.count, r.Err()
}

// record takes a record that the reader has split, or could not split.
func (w *walker) record(r *record.Reader) {
	w.count.Rows++
	switch {
	case r.Blank():
		w.count.Blank++
		return
	case r.Fault() != nil:
		if !w.begun {
			w.begun, w.now = true, stretch{key: w.keys.of(nil, nil, -1), orphan: true, from: r.At(), line: r.Line()}
		}
		return
	}
	n := r.Split(max(w.need, 1))
	w.take(w.keys.of(cellAt(r, w.run, n), day(cellAt(r, w.date, n)), w.last()), cellAt(r, w.state, n), r.At(), r.Line())
}

// day is that of a date or timestamp.
func day(date []byte) []byte { return date[:min(len(date), len("2026-05-04"))] }

// last is the key of the stretch at hand, negative where there is none.
func (w *walker) last() int32 {
	if w.begun {
		return w.now.key
	}
	return -1
}

// take notes a row. Its state says nothing where an open reading is known of the key.
func (w *walker) take(key int32, state []byte, at int64, line int) {
	if key != w.last() || w.now.orphan {
		if w.begun {
			w.put(w.now)
		}
		w.now = stretch{key: key, from: at, line: line}
		w.begun, w.known = true, false
	}
	if state != nil && !w.keys.open[key] {
		if k, ok := kindOf(state); ok && k == reading.Open {
			w.now.open, w.keys.open[key] = true, true
			w.known = false // from here on the state says nothing
		}
	}
}

// lines goes through lines of the kind that record.Reader.Lines returns, as far as
// their cells can be told apart at once. text begins at offset of the file with the
// given line. It returns how many bytes and lines it has taken.
func (w *walker) lines(text []byte, offset int64, line int) (taken, rows int) {
	for p := 0; p < len(text); rows++ {
		if w.known && bytes.HasPrefix(text[p:], w.prefix) {
			q := p + max(len(w.prefix)-1, 0)
			q += bytes.IndexByte(text[q:], '\n') + 1
			if w.count.Rows++; !w.filled && blank(withoutEnd(text[p:q])) {
				w.count.Blank++
			}
			p = q
			continue
		}
		end := p + bytes.IndexByte(text[p:], '\n')
		row := withoutEnd(text[p : end+1])
		if blank(row) {
			w.count.Rows++
			w.count.Blank++
			p = end + 1
			continue
		}
		if bytes.IndexByte(row, '\r') >= 0 {
			return p, rows
		}
		var run, date, state []byte
		number := w.last()
		key, q := p, p // where the cells of the key end, and where a cell begins
		need := w.key
		if need == 0 {
			number = w.keys.of(nil, nil, number)
			need = w.need
		}
		for k := 0; k < need; k++ {
			e := cellEnd(text, q)
			if text[e] != ',' && k < need-1 {
				return p, rows // the row is too short
			}
			c := text[q:e]
			switch k {
			case w.run:
				run = record.Bare(c)
			case w.date:
				date = record.Bare(c)
			case w.state:
				state = record.Bare(c)
			}
			if q = e + 1; text[e] == '\r' {
				q++
			}
			if k == w.key-1 {
				key = q
				if number = w.keys.of(run, day(date), number); w.need > need && !w.keys.open[number] {
					if need = w.need; text[e] != ',' {
						return p, rows
					}
				}
			}
		}
		w.count.Rows++
		w.take(number, state, offset+int64(p), line+rows)
		if w.now.open || w.state < 0 || w.keys.open[number] {
			q = key
		}
		w.prefix, w.known = append(w.prefix[:0], text[p:q]...), true
		w.filled = !blank(withoutEnd(w.prefix))
		p = end + 1
	}
	return len(text), rows
}

// blank reports whether a row holds nothing but blanks, commas and quotes around cells.
func blank(row []byte) bool {
	for _, c := range row {
		if c != ',' && c != ' ' && c != '\t' && c != '"' {
			return false
		}
	}
	return true
}

func withoutEnd(line []byte) []byte {
	n := len(line)
	if n > 0 && line[n-1] == '\n' {
		if n--; n > 0 && line[n-1] == '\r' {
			n--
		}
	}
	return line[:n]
}
