package longcsv

import (
	"encoding/binary"
	"math"
	"math/bits"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
	"sealbound/ingest/record"
)

// Most rows are good, and like the row before but for a few figures. lines reads
// those straight from the text; whatever looks otherwise is left to row, which is
// slower and words what is wrong. Both give the same readings.

// A group is the cells of a step as they stood when they were last looked at.
type group struct {
	from int // in the text at hand; negative where they are not known
	size int // with the comma or line end behind the last
	ends [mostCells]int32
}

// figures are the columns of a batch that lines fills row by row.
type figures struct {
	line                         []int32
	at                           []int64
	freq, level, floor, tx, gain []float64
	limited                      []bool
}

func (l *loader) figures() figures {
	b := l.b
	n := len(b.Line)
	return figures{b.Line[:n], b.At[:n], b.FreqHz[:n], b.Level[:n], b.Floor[:n], b.Tx[:n], b.Gain[:n], b.Limited[:n]}
}

// lines reads rows from the beginning of text, which stands at offset of the file
// and begins with the given line, as far as they are plainly good. It returns how
// many bytes and lines it has read. What follows them, if anything, is for row.
func (l *loader) lines(text []byte, offset int64, line int) (taken, rows int) {
	h, b := l.header, l.b
	for i := range l.groups {
		l.groups[i].from = -1
	}
	l.begun = l.n
	f := l.figures()
	if l.unit = h.level; h.has(reading.Atten) {
		l.unit = reading.Attenuated
	}
	values := [slots]float64{math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()}
	floorOffset := h.floor.Offset()
	wide := text[:min(cap(text), len(text)+record.Slack)]
	p, start := 0, 0
	fresh := true // the labels have not been looked at
	quotes := l.quotes
rows:
	for p < len(text) {
		start = p
		i := l.n
		if i == len(f.line) {
			b.Extend(max(64, i), l.columns)
			f = l.figures()
		}
		limited := false
		for s := range l.steps {
			st := &l.steps[s]
			if st.number == reading.Columns {
				g := &l.groups[s]
				if q := p + g.size; g.from >= 0 && q <= len(text) && string(text[p:q]) == string(text[g.from:g.from+g.size]) {
					p = q
					continue
				}
				if p = l.group(text, p, st, g); p < 0 {
					break rows
				}
				fresh = true
				continue
			}
			quoted := quotes && text[p] == '"'
			if quoted {
				p++
			}
			if st.limit != 0 && text[p] == st.limit {
				limited = true
				if p++; text[p] == ' ' {
					p++
				}
			}
			v, n := l.shapes[s].Read(wide[p:])
			if n == 0 { // -99.9 and -100.1 take turns
				l.shapes[s], l.olds[s] = l.olds[s], l.shapes[s]
				v, n = l.shapes[s].Read(wide[p:])
			}
			if n == 0 {
				if v, n = l.figure(text[p:], st, &l.shapes[s], quoted); n < 0 {
					break rows
				}
			}
			if v < st.least || v > st.most {
				break rows
			}
			values[st.slot] = v
			if p += n; quoted {
				if text[p] != '"' {
					break rows
				}
				p++
			}
			switch c := text[p]; {
			case !st.last && c == ',', st.last && c == '\n':
				p++
			case st.last && c == '\r' && p+1 < len(text) && text[p+1] == '\n':
				p += 2
			default:
				break rows
			}
		}
		if fresh {
			if !l.ready() {
				break rows
			}
			fresh = false
		}
		if tx := values[txSlot]; tx == tx && l.unit.Relative() || limited && !l.limit && l.unit != reading.Attenuated {
			break rows
		}
		if limited = limited || l.limit; limited && l.kind == reading.Open {
			break rows
		}
		f.line[i], f.at[i] = int32(line+rows), offset+int64(start)
		f.freq[i], f.level[i], f.floor[i], f.tx[i], f.gain[i] = values[freqSlot], values[levelSlot], values[floorSlot]+floorOffset, values[txSlot], values[gainSlot]
		f.limited[i] = limited
		l.n++
		rows++
		start = p
	}
	l.settle()
	b.Even(l.n)
	return start, rows
}

// figure reads a number of another shape than the one before, or an empty cell that
// need not be filled, and returns its length; negative where row must look at it. Of a
// quoted cell b begins behind the quote, and the length is that up to the other one.
func (l *loader) figure(b []byte, st *step, shape *cell.Shape, quoted bool) (float64, int) {
	if v, n := cell.Leading(b, st.scale); n > 0 {
		shape.Learn(b, n, st.scale)
		return v, n
	}
	c, n := st.number, cellEnd(b, 0)
	if quoted {
		if n--; n < 0 || b[n] != '"' {
			return 0, -1
		}
	}
	text := record.Trim(b[:n])
	if len(text) == 0 && (c == reading.Floor || c == reading.Tx || c == reading.Gain) {
		return math.NaN(), n
	}
	v, fault := cell.Number(text, st.scale)
	if fault != nil {
		return 0, -1
	}
	return v, n
}

// group reads the cells of a group from p on. It returns where the next step
// begins; negative where row must look at the cells.
func (l *loader) group(text []byte, p int, st *step, g *group) int {
	from, old := p, g.from
	before := 0 // where the cell began, and ended, when the group was last looked at
	for k := range st.cells {
		end := int(g.ends[k])
		if old >= 0 {
			size := end - before
			if q := p + size; q <= len(text) && string(text[p:q]) == string(text[old+before:old+end]) {
				p, before = q, end
				g.ends[k] = int32(p - from)
				continue
			}
		}
		before = end
		q := cellEnd(text, p)
		b := text[p:q]
		if l.quotes {
			b = record.Bare(b)
		} else {
			b = record.Trim(b)
		}
		last := st.last && k == st.cells-1
		switch c := text[q]; {
		case !last && c == ',', last && c == '\n':
			q++
		case last && c == '\r' && q+1 < len(text) && text[q+1] == '\n':
			q += 2
		default:
			return -1
		}
		p = q
		g.ends[k] = int32(p - from)
		if l.want != nil && odd(b) || !l.take(st.first+k, b) {
			return -1
		}
	}
	g.from, g.size = from, p-from
	return p
}

// take reads a cell that holds no number; false where row must look at it.
func (l *loader) take(at int, b []byte) bool {
	switch l.roles[at] {
	case labelled:
		code := &l.codes[l.label[at]]
		if string(b) != l.b.Labels.Text(*code) {
			l.settle()
			*code = l.b.Labels.Code(b)
		}
	case stateCell:
		kind, ok := kindOf(b)
		if l.header.has(reading.Atten) {
			ok, kind = ok && kind == reading.Closed || len(b) == 0, reading.Direct
		}
		if !ok {
			return false
		}
		if kind != l.kind || !l.known {
			l.settle()
			l.kind, l.known = kind, true
		}
	case runCell:
		l.confirmRun(b)
	case dateCell:
		ok := l.day(b, &l.date)
		l.confirmDay()
		return ok
	case installedCell:
		return l.day(b, &l.installed)
	case limitedCell:
		is, ok := yes(b)
		l.limit = is
		return ok
	}
	return true
}

func (l *loader) day(b []byte, d *cell.Day) bool {
	day := cell.NoDay
	if len(b) > 0 {
		var fault *cell.Fault
		if day, fault = cell.ParseDay(b); fault != nil {
			return false
		}
	}
	if day != *d {
		l.settle()
		*d = day
	}
	return true
}

// ready reports whether the labels and dates at hand are those of a good row.
func (l *loader) ready() bool {
	if l.date != cell.NoDay && l.installed > l.date {
		return false
	}
	if l.header.at[reading.State] < 0 {
		l.kind, l.known = reading.Direct, true
	}
	if l.kind != reading.Closed && l.kind != reading.Direct {
		return true
	}
	for _, c := range [...]reading.Column{reading.Box, reading.Gasket, reading.Closing} {
		if at := l.header.at[c]; at < 0 || l.codes[l.label[at]] == 0 {
			return false
		}
	}
	return true
}

// settle fills in what the rows since the last change have in common.
func (l *loader) settle() {
	from, to := l.begun, l.n
	if from == to {
		return
	}
	b := l.b
	b.Break(from)
	l.begun = to
	for k, c := range l.columns {
		reading.Fill(b.Text[c][from:to], l.codes[k])
	}
	reading.Fill(b.File[from:to], l.file)
	reading.Fill(b.Kind[from:to], l.kind)
	reading.Fill(b.Unit[from:to], l.unit)
	reading.Fill(b.Date[from:to], l.date)
	reading.Fill(b.Installed[from:to], l.installed)
}

// cellEnd is where the cell that begins at p ends: at a comma, or at a carriage
// return or line feed. There must be one.
func cellEnd(b []byte, p int) int {
	const ones, high = 0x0101010101010101, 0x8080808080808080
	for ; p+8 <= len(b); p += 8 {
		w := binary.LittleEndian.Uint64(b[p:])
		comma, feed, cr := w^(ones*','), w^(ones*'\n'), w^(ones*'\r')
		if m := ((comma-ones)&^comma | (feed-ones)&^feed | (cr-ones)&^cr) & high; m != 0 {
			return p + bits.TrailingZeros64(m)/8
		}
	}
	for b[p] != ',' && b[p] != '\n' && b[p] != '\r' {
		p++
	}
	return p
}
