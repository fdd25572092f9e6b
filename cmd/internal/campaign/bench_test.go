package campaign

import (
	"testing"

	"sealbound/stats/simulate"
)

// BenchmarkRows measures the lines of CSV alone, without a disk.
func BenchmarkRows(b *testing.B) {
	s, l, err := Yardstick(OneFile)
	if err != nil {
		b.Fatal(err)
	}
	c, err := simulate.New(s)
	if err != nil {
		b.Fatal(err)
	}
	runs := []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}
	w := newRowWriter(c, &l)
	var n counter
	if err := w.file(&n, runs); err != nil {
		b.Fatal(err)
	}
	b.SetBytes(n.bytes)
	for b.Loop() {
		if err := w.file(&n, runs); err != nil {
			b.Fatal(err)
		}
	}
}

// A counter counts what is written to it.
type counter struct{ bytes, lines int64 }

func (c *counter) Write(p []byte) (int, error) {
	c.bytes += int64(len(p))
	for _, b := range p {
		if b == '\n' {
			c.lines++
		}
	}
	return len(p), nil
}
