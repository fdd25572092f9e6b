package ingest

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"slices"

	"sealbound/ingest/reading"
)

// A gatherer puts the pieces of a file that belong to one run behind each other, so
// that they are read at once, and then tells the rows where they really stand.
type gatherer struct {
	text   reading.Held
	pieces []piece
	lines  int
}

// A piece is a stretch of the file in the gathered text.
type piece struct {
	at   int64 // in the file
	line int   // in the file
	from int64 // in the text
	seen int   // line in the text
}

// gatherOnce is how much text is gathered before it is read.
const gatherOnce = 1 << 18

func (g *gatherer) reset() {
	g.text.Text, g.pieces, g.lines = g.text.Text[:0], g.pieces[:0], 0
}

// add takes a piece, which stands in two parts.
func (g *gatherer) add(at int64, line int, head, tail []byte) {
	from := len(g.text.Text)
	g.pieces = append(g.pieces, piece{at, line, int64(from), g.lines + 1})
	g.text.Text = append(append(g.text.Text, head...), tail...)
	g.lines += bytes.Count(g.text.Text[from:], []byte{'\n'})
}

// load reads what was gathered from f into b.
func (g *gatherer) load(ctx context.Context, f *file, b *reading.Batch) error {
	if len(g.pieces) == 0 {
		return nil
	}
	first, before := b.Len(), b.Problems
	b.Problems = reading.Problems{Limit: before.Limit}
	err := f.table.Load(ctx, &g.text, reading.Stretch{To: int64(len(g.text.Text)), Line: 1}, b)
	b.Problems.Move(func(line int) int {
		k, ok := slices.BinarySearchFunc(g.pieces, line, func(p piece, line int) int { return p.seen - line })
		if !ok {
			k--
		}
		return g.pieces[k].line + line - g.pieces[k].seen
	})
	before.AddAll(&b.Problems)
	b.Problems = before
	k := 0
	for i := first; i < b.Len(); i++ {
		for k+1 < len(g.pieces) && g.pieces[k+1].from <= b.At[i] {
			k++
		}
		p := &g.pieces[k]
		b.At[i] += p.at - p.from
		b.Line[i] += int32(p.line - p.seen)
	}
	g.reset()
	return err
}

// A cursor goes through the stretches of a part in a mixedCopy.
type cursor struct {
	extents []span
	group   []byte // the extent at hand
	turns   reading.Turns
	end     bool
}

// next goes on to the next stretch.
func (c *cursor) next(copied *mixedCopy) error {
	if !c.turns.More() {
		if c.end = len(c.extents) == 0; c.end {
			return nil
		}
		x := c.extents[0]
		c.extents = c.extents[1:]
		n := int(x.to - x.from)
		c.group = slices.Grow(c.group[:0], n)[:n]
		if err := copied.read(c.group, x.from); err != nil {
			return fmt.Errorf("a temporary file was cut short: %w", err)
		}
		c.turns.Begin(c.group, x.line)
	}
	return c.turns.Next()
}

// loadMixed reads what the copy of f holds of a run's parts, and the spans of f itself
// that stand between.
func (w *worker) loadMixed(ctx context.Context, f *file, src io.ReaderAt, parts []*part, number int32, list []span, b *reading.Batch) error {
	g := &w.gather
	g.reset()
	var cursors []*cursor
	for _, x := range parts {
		if x.inCopies == nil {
			continue
		}
		c := &cursor{}
		for _, s := range x.extents.appendTo(nil) {
			if s.file == number {
				c.extents = append(c.extents, s)
			}
		}
		if err := c.next(f.copy); err != nil {
			return err
		}
		cursors = append(cursors, c)
	}
	for {
		var first *cursor
		for _, c := range cursors {
			if !c.end && (first == nil || c.turns.At < first.turns.At) {
				first = c
			}
		}
		n := 0
		for n < len(list) && (first == nil || list[n].from < first.turns.At) {
			n++
		}
		if n > 0 {
			if err := w.loadSpans(ctx, f, src, list[:n], b); err != nil {
				return err
			}
			list = list[n:]
		}
		if first == nil {
			return g.load(ctx, f, b)
		}
		t := &first.turns
		if err := w.piece(ctx, f, t.At, t.Line, t.Head, t.Tail, b); err != nil {
			return err
		}
		if err := first.next(f.copy); err != nil {
			return err
		}
	}
}

// piece takes a stretch of f. Where its table does not read line by line, stretches
// must not follow others than they do in the file, and it is read at once.
func (w *worker) piece(ctx context.Context, f *file, at int64, line int, head, tail []byte, b *reading.Batch) error {
	g := &w.gather
	if t, ok := f.table.(reading.LineTable); !ok || !t.ByLine() {
		w.near.From, w.near.Text = at, append(append(w.near.Text[:0], head...), tail...)
		return f.table.Load(ctx, &w.near, reading.Stretch{From: at, To: at + int64(len(w.near.Text)), Line: line}, b)
	}
	g.add(at, line, head, tail)
	if len(g.text.Text) < gatherOnce {
		return nil
	}
	return g.load(ctx, f, b)
}
