package reading

// Breaks lists the readings that may differ from the one before in file, kind,
// unit, dates or any label, in order; the first reading is one. From one break to
// the next all readings share those, so that a sweep can be looked at as a whole.
// The list is read-only, and dead when readings are added.
func (b *Batch) Breaks() []int32 {
	var columns [][]int32
	if b.marked < b.Len() {
		for _, c := range b.Text {
			if c != nil {
				columns = append(columns, c)
			}
		}
	}
	for i := b.marked; i < b.Len(); i++ {
		same := i > 0 && b.File[i] == b.File[i-1] && b.Kind[i] == b.Kind[i-1] && b.Unit[i] == b.Unit[i-1] &&
			b.Date[i] == b.Date[i-1] && b.Installed[i] == b.Installed[i-1]
		for k := 0; same && k < len(columns); k++ {
			same = columns[k][i] == columns[k][i-1]
		}
		if !same {
			b.breaks = append(b.breaks, int32(i))
		}
	}
	b.marked = b.Len()
	return b.breaks
}

// Break tells that readings from i on may differ from those before, and that those
// before, as far as no Break told of them, do not differ from each other. Readings
// that no call of Break or Even tells of are compared by Breaks.
func (b *Batch) Break(i int) {
	if n := len(b.breaks); n == 0 || b.breaks[n-1] != int32(i) {
		b.breaks = append(b.breaks, int32(i))
	}
	b.marked = i + 1
}

// Even tells that up to n no other reading than those that Break told of may
// differ from the one before.
func (b *Batch) Even(n int) { b.marked = n }
