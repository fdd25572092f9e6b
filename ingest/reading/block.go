package reading

import (
	"encoding/binary"
	"errors"

	"sealbound/ingest/record"
)

// A Block is the rows of a part of a file in which runs take turns, sorted by run.
type Block struct {
	Text      []byte // of all groups, one behind the other; dead after the call that receives the block
	Groups    []Group
	Line      int   // from which the lines in Text count
	To        int64 // where the part ends in the file
	Stretches int   // how many there are, without a first one that goes on from before
}

// A Group is the rows in a Block that have the same run and date.
type Group struct {
	Stretch       // From and To are those of its first rows, Line is not set
	Size    int   // of its part of the block's Text
	Bytes   int64 // that its rows fill in the file
}

// A Grouper writes the stretches of a group: of each how many lines and bytes after the
// end of the one before it stands, how long it is, how much of the first one it begins
// with, and the rest.
type Grouper struct {
	first []byte
	line  int
	to    int64
}

// Append writes text, which stands at an offset of the file and begins with a line of
// the block, behind b.
func (g *Grouper) Append(b []byte, line int, at int64, text []byte) []byte {
	shared := 0
	if g.first == nil {
		g.first = text
	} else {
		shared = record.Common(g.first, text)
	}
	b = binary.AppendUvarint(b, uint64(line-g.line))
	b = binary.AppendUvarint(b, uint64(at-g.to))
	b = binary.AppendUvarint(b, uint64(len(text)))
	b = binary.AppendUvarint(b, uint64(shared))
	g.line, g.to = line, at+int64(len(text))
	return append(b, text[shared:]...)
}

// Turns goes through the stretches of a group as a Grouper has written them.
type Turns struct {
	At         int64 // of the stretch at hand in the file
	Line       int   // of its first row
	Head, Tail []byte
	first      []byte
	rest       []byte
}

// errTurns tells that a group is not as it was written.
var errTurns = errors.New("a temporary file was changed")

// Begin goes before the first stretch of a group. line is that of its block.
func (t *Turns) Begin(group []byte, line int) {
	*t = Turns{rest: group, Line: line}
}

// More reports whether there is a stretch behind the one at hand.
func (t *Turns) More() bool { return len(t.rest) > 0 }

// Next goes on to the next stretch, whose text is that of Head and Tail together.
func (t *Turns) Next() error {
	var v [4]uint64
	for i := range v {
		x, n := binary.Uvarint(t.rest)
		if n <= 0 {
			return errTurns
		}
		v[i], t.rest = x, t.rest[n:]
	}
	shared := v[3]
	if shared > v[2] || shared > uint64(len(t.first)) || v[2]-shared > uint64(len(t.rest)) {
		return errTurns
	}
	t.At += int64(len(t.Head)+len(t.Tail)) + int64(v[1])
	t.Line += int(v[0])
	t.Head, t.Tail, t.rest = t.first[:shared], t.rest[:v[2]-shared], t.rest[v[2]-shared:]
	if t.first == nil {
		t.first = t.Tail
	}
	return nil
}
