package ingest

import "os"

// A meter tells how far a reading is. Every file is gone through more than once: to
// find where the rows of each run stand, then run by run, twice or more often; so all
// there is to do is as many times the bytes of the files. Of orderly files a few looks
// show where runs stand, so there is a pass less. Nil tells nothing.
type meter struct {
	tell       func(done, total int64)
	passes     int64
	ends       []int64 // bytes of the files up to each and with it
	file       int     // that is gone through
	pass       int64   // that is under way, counted from 0; -1 before where there is none to find runs
	weights    []float64
	seen, rows float64 // bytes of the runs visited in this pass, of all runs
	spans      []span
}

func newMeter(tell func(done, total int64), files []found, passes int64, orderly bool) *meter {
	if tell == nil {
		return nil
	}
	m := &meter{tell: tell, passes: passes}
	if orderly {
		m.passes--
		m.pass = -1
	}
	sum := int64(0)
	for _, f := range files {
		if info, err := os.Stat(f.path); err == nil && info.Mode().IsRegular() {
			sum += info.Size() // of a packed file, packed: it is for the eye
		}
		m.ends = append(m.ends, sum)
	}
	if sum == 0 { // standard input has no size
		return nil
	}
	return m
}

func (m *meter) total() int64 { return m.ends[len(m.ends)-1] }

// bytes is how many the file of that number has, and how many stand before it.
func (m *meter) bytes(file int) (size, before int64) {
	if file > 0 {
		before = m.ends[file-1]
	}
	return m.ends[file] - before, before
}

// enter begins with a file.
func (m *meter) enter(file int) {
	if m != nil && m.pass == 0 {
		m.file = file
		_, before := m.bytes(file)
		m.tell(before, m.passes*m.total())
	}
}

// within tells how far the first pass is in the file: at that offset of so many.
func (m *meter) within(offset, of int64) {
	if m == nil || of <= 0 {
		return
	}
	size, before := m.bytes(m.file)
	m.tell(before+int64(float64(size)*min(1, float64(offset)/float64(of))), m.passes*m.total())
}

// turn begins the next pass, over the runs. Offsets are bytes in some files, rows in
// others, and of unpacked text in packed ones: each file weighs what it has of bytes.
func (m *meter) turn(runs []*planned, files []*file) {
	if m == nil {
		return
	}
	m.pass++
	m.seen = 0
	if m.weights != nil {
		return
	}
	m.weights = make([]float64, len(files))
	for i, f := range files {
		if f.table == nil {
			continue
		}
		if size, _ := m.bytes(i); f.offsets() > 0 {
			m.weights[i] = float64(size) / float64(f.offsets())
		}
	}
	for _, r := range runs {
		m.rows += m.length(r)
	}
}

// offsets is where the last offset of a file with a table ends.
func (f *file) offsets() int64 {
	if _, rows := f.table.(byRow); rows {
		return int64(f.input.Rows)
	}
	return f.source.size
}

// length is how many bytes the rows of a run take up.
func (m *meter) length(r *planned) (n float64) {
	m.spans = r.spans(m.spans[:0])
	for _, s := range m.spans {
		n += float64(s.to-s.from) * m.weights[s.file]
	}
	for _, x := range r.parts {
		if x.inCopies == nil {
			continue
		}
		if copies := x.extents.appendTo(m.spans[:0]); len(copies) > 0 {
			n += float64(x.bytes) * m.weights[copies[0].file]
		}
	}
	return n
}

// visited tells that a run is done with.
func (m *meter) visited(r *planned) {
	if m == nil || m.rows == 0 {
		return
	}
	m.seen += m.length(r)
	total := m.total()
	m.tell(m.pass*total+int64(float64(total)*min(1, m.seen/m.rows)), m.passes*total)
}
