package ingest

import (
	"encoding/binary"
	"sort"
)

// A span is rows of one run that stand together in a file.
type span struct {
	file     int32
	line     int
	from, to int64
}

// spans keeps spans in a few bytes each, since shuffled rows make one per row.
// They come in order of file and offset. Most runs have a single one, which is last.
type spans struct {
	coded []byte // all of them, where there are two or more
	last  span
	n     int
	size  int64 // of all of them together
}

func (s *spans) add(x span) {
	s.size += x.to - x.from
	if s.n++; s.n == 1 {
		s.last = x
		return
	}
	if s.n == 2 {
		first := s.last
		s.last = span{}
		s.code(first)
	}
	s.code(x)
}

func (s *spans) code(x span) {
	if x.file != s.last.file {
		s.last.line, s.last.to = 0, 0
	}
	for _, v := range [...]int64{int64(x.file - s.last.file), int64(x.line - s.last.line), x.from - s.last.to, x.to - x.from} {
		s.coded = binary.AppendUvarint(s.coded, uint64(v))
	}
	s.last = x
}

// appendTo decodes the spans behind list.
func (s *spans) appendTo(list []span) []span {
	if s.n == 1 {
		return append(list, s.last)
	}
	var x span
	for b := s.coded; len(b) > 0; {
		var v [4]uint64
		for i := range v {
			var n int
			v[i], n = binary.Uvarint(b)
			b = b[n:]
		}
		if v[0] != 0 {
			x.line, x.to = 0, 0
		}
		x.file += int32(v[0])
		x.line += int(v[1])
		x.from = x.to + int64(v[2])
		x.to = x.from + int64(v[3])
		list = append(list, x)
	}
	return list
}

// inOrder sorts spans by file and offset.
func inOrder(list []span) {
	sort.Slice(list, func(i, j int) bool {
		if list[i].file != list[j].file {
			return list[i].file < list[j].file
		}
		return list[i].from < list[j].from
	})
}
