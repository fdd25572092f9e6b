package ingest

import "os"

// A meter tells how far a reading is. Every file is gone through twice, to find where
// the rows of each run stand and to pair them, so all there is to do is twice the
// bytes of the files. Nil tells nothing.
type meter struct {
	tell       func(done, total int64)
	ends       []int64 // bytes of the files up to each and with it
	file       int     // that is gone through
	seen, rows int64   // bytes of the runs visited, of all runs
	spans      []span
}

func newMeter(tell func(done, total int64), files []found) *meter {
	if tell == nil {
		return nil
	}
	m := &meter{tell: tell}
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

func (m *meter) bytes() int64 { return m.ends[len(m.ends)-1] }

// enter begins with a file.
func (m *meter) enter(file int) {
	if m != nil {
		m.file = file
		m.within(0)
	}
}

// within tells how far the first pass is in the file.
func (m *meter) within(offset int64) {
	if m == nil {
		return
	}
	begin := int64(0)
	if m.file > 0 {
		begin = m.ends[m.file-1]
	}
	m.tell(min(begin+offset, m.ends[m.file]), 2*m.bytes())
}

// turn begins the second pass.
func (m *meter) turn(runs []*planned) {
	if m == nil {
		return
	}
	for _, r := range runs {
		m.rows += m.length(r)
	}
}

func (m *meter) length(r *planned) (n int64) {
	m.spans = r.spans(m.spans[:0])
	for _, s := range m.spans {
		n += s.to - s.from
	}
	for _, x := range r.parts {
		if x.inCopies != nil {
			n += x.bytes
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
	total := m.bytes()
	m.tell(total+int64(float64(total)*float64(m.seen)/float64(m.rows)), 2*total)
}
