package longcsv

import (
	"encoding/binary"
	"strings"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// A stretch is rows that have the same run and date, as written. An orphan is
// rows that cannot be split and so belong to those before them.
type stretch struct {
	key    int32 // of run and date
	open   bool
	orphan bool
	from   int64
	line   int
}

// keys numbers the runs and dates that a walk comes across, so that each row is
// compared, sorted and handed on by a number. They are kept from piece to piece of a
// file.
type keys struct {
	number    map[string]int32
	texts     []string // by number: run, a zero byte, date; no cell has a zero byte
	stretches []stretch
	known     []int32 // by number: what the merger calls it, -1 where it does not know it
	open      []bool  // by number: an open reading was told of
	size      int     // bytes of the texts
	recent    []int32 // by mark: one more than the number, 0 for none
	buffer    []byte
	before    int // how many there were before the stretches

	// where runs take turns
	order  []int32      // of the numbers: that of the texts
	held   reading.Held // the piece
	first  int          // the first stretch that was sorted
	counts []int32      // by number
	sorted []int32      // stretches by number
	block  []byte
	groups []keyGroup
}

func newKeys() *keys {
	return &keys{number: map[string]int32{}, recent: make([]int32, 1<<recentBits)}
}

// is reports whether a number is that of a run and a date.
func (k *keys) is(n int32, run, date []byte) bool {
	text := k.texts[n]
	return len(text) == len(run)+1+len(date) && text[:len(run)] == string(run) && text[len(run)] == 0 && text[len(run)+1:] == string(date)
}

// mark is where the number of a run and a date is looked for first: those that differ
// mostly differ in their last bytes, or in how long they are.
func mark(run, date []byte) uint64 {
	h := uint64(len(run))
	for _, b := range [...][]byte{run, date} {
		n := len(b)
		if n >= 8 {
			h ^= binary.LittleEndian.Uint64(b[n-8:])
		} else {
			for _, c := range b {
				h = h<<8 ^ uint64(c)
			}
		}
		h *= 0x9e3779b97f4a7c15
		h ^= h >> 29
	}
	return h * 0x9e3779b97f4a7c15 >> (64 - recentBits)
}

const recentBits = 13

// of numbers a run and a date, which mostly are those that have the number last, or
// were numbered before.
func (k *keys) of(run, date []byte, last int32) int32 {
	if last >= 0 && k.is(last, run, date) {
		return last
	}
	at := &k.recent[mark(run, date)]
	if n := *at - 1; n >= 0 && k.is(n, run, date) {
		return n
	}
	k.buffer = append(append(append(k.buffer[:0], run...), 0), date...)
	n, ok := k.number[string(k.buffer)]
	if !ok {
		n = int32(len(k.texts))
		text := string(k.buffer)
		k.size += len(text)
		k.number[text], k.texts, k.known, k.open = n, append(k.texts, text), append(k.known, -1), append(k.open, false)
	}
	*at = n + 1
	return n
}

// A dated run has that label and date; there may be millions.
type dated struct {
	run string
	day cell.Day
}

// A merger joins stretches that a cut has parted and hands them on.
type merger struct {
	add    func(reading.Stretch)
	take   func(*reading.Block) bool
	number map[string]int32
	named  []dated // by number
	buffer []byte
	now    stretch
	begun  bool
	goesOn bool  // now goes on from a block
	last   int32 // the number of the stretch before what comes; negative at the beginning
	groups []reading.Group
}

// known is what the merger calls a key.
func (m *merger) known(key int32, k *keys) int32 {
	n := k.known[key]
	if n < 0 {
		n = m.learn(k.texts[key])
		k.known[key] = n
	}
	return n
}

func (m *merger) put(s stretch, k *keys) {
	n := m.known(s.key, k)
	if s.orphan && m.last >= 0 {
		n = m.last
	}
	if m.begun && n == m.now.key {
		m.now.open = m.now.open || s.open
		return
	}
	m.end(s.from)
	m.goesOn, m.last = n == m.last, n
	s.key = n
	m.now, m.begun = s, true
}

func (m *merger) learn(text string) int32 {
	n, ok := m.number[text]
	if !ok {
		n = int32(len(m.named))
		m.number[text] = n
		run, date, _ := strings.Cut(text, "\x00")
		day, _ := cell.ParseDay([]byte(date)) // a date that is none shows as a problem of its row
		m.named = append(m.named, dated{run, day})
	}
	return n
}

func (m *merger) end(at int64) {
	if m.begun {
		m.buffer = m.buffer[:0]
		s := m.stretch(m.now.key)
		s.Open, s.From, s.To, s.Line, s.GoesOn = m.now.open, m.now.from, at, m.now.line, m.goesOn
		m.add(s)
	}
}

// stretch is one of the run of that number. Its Run stands in the buffer.
func (m *merger) stretch(n int32) reading.Stretch {
	x := &m.named[n]
	from := len(m.buffer)
	m.buffer = append(m.buffer, x.run...)
	return reading.Stretch{Run: m.buffer[from:], Date: x.day, Key: int(n) + 1}
}
