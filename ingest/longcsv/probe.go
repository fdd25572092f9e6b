package longcsv

import (
	"bytes"
	"context"
	"errors"
	"io"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
	"sealbound/ingest/record"
)

// In most files the rows of a run stand together. Where its stretches begin is then
// found by a few looks between rows that have the same run and date, and those that
// have not; that the rows in between are of the same run too shows when they are
// loaded.

const (
	firstLeap = 1 << 11 // bytes from the row where a stretch may end to the next look
	lookSize  = 1 << 10
	closeBy   = 1 << 12 // rows between two looks that are nearer are gone through
)

// errOdd ends probing: a row is not as rows mostly are.
var errOdd = errors.New("longcsv: a row that is not plain")

// A prober looks at rows here and there.
type prober struct {
	*table
	src  io.ReaderAt
	buf  []byte
	base int64  // offset of buf
	last []byte // what key has returned
}

// Probe hands stretches of rows to add, in order. That all rows of a stretch share
// run and date is taken for granted of those it did not look at; ConfirmingLoad tells.
// Only the first stretch has a Line, and none has Open. It returns false, perhaps
// with some stretches handed on, where the file has to be gone through row by row by
// Index: add was false, a row is not plain, or there is a column reference.
func (t *table) Probe(ctx context.Context, src io.ReaderAt, add func(reading.Stretch) bool) (bool, error) {
	if t.header.has(reading.Reference) || t.body >= t.size {
		return false, nil
	}
	p := prober{table: t, src: src}
	err := p.stretches(ctx, add)
	if errors.Is(err, errOdd) {
		return false, nil
	}
	return err == nil, err
}

func (p *prober) stretches(ctx context.Context, add func(reading.Stretch) bool) error {
	last, err := p.lastRow()
	if err != nil {
		return err
	}
	final, err := p.key(last)
	if err != nil {
		return err
	}
	final = bytes.Clone(final)
	var now []byte
	leap := int64(firstLeap)
	for from := p.body; from < p.size; {
		if err := ctx.Err(); err != nil {
			return err
		}
		key, err := p.key(from)
		if err != nil {
			return err
		}
		now = append(now[:0], key...)
		to := p.size
		if !bytes.Equal(now, final) {
			if to, err = p.end(from, last, leap, now); err != nil {
				return err
			}
		}
		run, date, _ := bytes.Cut(now, []byte{0})
		day, fault := cell.ParseDay(date)
		if fault != nil && len(date) > 0 {
			return errOdd
		}
		if len(date) == 0 {
			day = cell.NoDay
		}
		s := reading.Stretch{Run: run, Date: day, From: from, To: to}
		if from == p.body {
			s.Line = p.line
		}
		if !add(s) {
			return errOdd
		}
		from, leap = to, to-from
	}
	return nil
}

// end looks for the first row of another key between a row of the given one and the
// last row, which has another. It is looked for a leap away at first.
func (p *prober) end(from, last, leap int64, key []byte) (int64, error) {
	same, other := from, last // rows of this key, and of another
	is := func(at int64) (bool, error) {
		k, err := p.key(at)
		return bytes.Equal(k, key), err
	}
	first := from + max(1, leap-firstLeap/2) // a little before, so that one piece of text shows both
	for at, step, ahead := first, int64(firstLeap), true; ; step *= 2 {
		row, err := p.rowFrom(min(at, other-1))
		if err != nil {
			return 0, err
		}
		ok, err := is(row)
		if err != nil {
			return 0, err
		}
		if ok {
			same = row
		} else {
			other = row
		}
		if at == first {
			ahead = ok
		}
		if ok != ahead || other-same <= closeBy {
			break
		}
		if at = other - step; ahead {
			at = same + step
		}
		if at = max(at, same+1); at >= other {
			break
		}
	}
	for other-same > closeBy {
		row, err := p.rowFrom(same + (other-same)/2)
		if err != nil {
			return 0, err
		}
		if row >= other { // a long row
			return 0, errOdd
		}
		ok, err := is(row)
		if err != nil {
			return 0, err
		}
		if ok {
			same = row
		} else {
			other = row
		}
	}
	for {
		next, err := p.rowFrom(same + 1)
		if err != nil || next >= other {
			return other, err
		}
		ok, err := is(next)
		if err != nil {
			return 0, err
		}
		if !ok {
			return next, nil
		}
		same = next
	}
}

// text is what stands in the file from at on, lookSize bytes where there are so many.
func (p *prober) text(at int64) ([]byte, error) {
	most := min(lookSize, p.size-at)
	if at < p.base || at+most > p.base+int64(len(p.buf)) {
		n := min(closeBy+2*lookSize, p.size-at)
		if int64(cap(p.buf)) < n {
			p.buf = make([]byte, n)
		}
		p.base, p.buf = at, p.buf[:n]
		if got, err := p.src.ReadAt(p.buf, at); int64(got) < n {
			p.buf = p.buf[:0]
			if err == nil || err == io.EOF {
				err = io.ErrUnexpectedEOF
			}
			return nil, err
		}
	}
	return p.buf[at-p.base:], nil
}

// rowFrom is where the first row begins that begins at or after an offset behind the
// first one.
func (p *prober) rowFrom(at int64) (int64, error) {
	text, err := p.text(at - 1)
	if err != nil {
		return 0, err
	}
	i := bytes.IndexByte(text, '\n')
	switch {
	case i >= 0:
		return at + int64(i), nil
	case at-1+int64(len(text)) == p.size:
		return p.size, nil
	}
	return 0, errOdd
}

// lastRow is where the last row begins.
func (p *prober) lastRow() (int64, error) {
	from := max(p.body, p.size-lookSize)
	text, err := p.text(from)
	if err != nil {
		return 0, err
	}
	if i := bytes.LastIndexByte(bytes.TrimSuffix(text, []byte{'\n'}), '\n'); i >= 0 {
		return from + int64(i) + 1, nil
	}
	if from > p.body {
		return 0, errOdd
	}
	return from, nil
}

// key is the run and the date of the row at an offset, a zero byte between them. It
// is dead after the next call.
func (p *prober) key(at int64) ([]byte, error) {
	text, err := p.text(at)
	if err != nil {
		return nil, err
	}
	end := bytes.IndexByte(text, '\n')
	if end < 0 {
		if at+int64(len(text)) < p.size {
			return nil, errOdd
		}
		end = len(text)
	}
	row := withoutEnd(text[:end])
	if end < len(text) {
		row = withoutEnd(text[:end+1])
	}
	if len(row) == 0 || blank(row) || bytes.IndexByte(row, '"') >= 0 || bytes.IndexByte(row, '\r') >= 0 || bytes.IndexByte(row, 0) >= 0 {
		return nil, errOdd
	}
	at1, at2 := p.header.at[reading.Run], p.header.at[reading.Date]
	var run, date []byte
	for i := 0; i <= max(at1, at2); i++ {
		c, rest, more := bytes.Cut(row, []byte{','})
		switch i {
		case at1:
			run = record.Trim(c)
		case at2:
			date = record.Trim(c)
		}
		if row = rest; !more && i < max(at1, at2) {
			return nil, errOdd
		}
	}
	date = date[:min(len(date), len("2026-05-04"))] // the day of a timestamp
	p.last = append(append(append(p.last[:0], run...), 0), date...)
	return p.last, nil
}

// ConfirmingLoad is Load for a stretch that Probe has handed on; s.Line counts from
// where the caller likes. It returns how many rows it has read, and false where the
// stretch is not what Probe took it for: good rows, each a line without quotes, of one
// run and date.
func (t *table) ConfirmingLoad(ctx context.Context, src io.ReaderAt, s reading.Stretch, b *reading.Batch) (rows int, confirmed bool, err error) {
	first, skipped := b.Len(), len(b.Skipped)
	lines, confirmed, err := t.load(ctx, src, s, b, true)
	rows = b.Len() - first
	return rows, confirmed && err == nil && lines == rows && len(b.Skipped) == skipped, err
}
