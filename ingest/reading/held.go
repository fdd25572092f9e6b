package reading

import (
	"io"
	"slices"
)

// Held is a part of a file in memory.
type Held struct {
	From int64 // where Text stands in the file
	Text []byte
}

// ReadAt reads from the part; what lies beyond it is not to be had.
func (h *Held) ReadAt(b []byte, off int64) (int, error) {
	if off < h.From || off > h.From+int64(len(h.Text)) {
		return 0, io.ErrUnexpectedEOF
	}
	c := copy(b, h.Text[off-h.From:])
	if c < len(b) {
		return c, io.ErrUnexpectedEOF
	}
	return c, nil
}

// Read fills it with what stands in src between two offsets.
func (h *Held) Read(src io.ReaderAt, from, to int64) error {
	h.From, h.Text = from, slices.Grow(h.Text[:0], int(to-from))[:to-from]
	n, err := src.ReadAt(h.Text, from)
	if n == len(h.Text) {
		return nil
	}
	if err == nil || err == io.EOF {
		err = io.ErrUnexpectedEOF
	}
	return err
}
