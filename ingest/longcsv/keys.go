package longcsv

import (
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
	buffer    []byte
}

func newKeys() *keys { return &keys{number: map[string]int32{}} }

// of numbers a run and a date, which mostly are those that have the number last.
func (k *keys) of(run, date []byte, last int32) int32 {
	k.buffer = append(append(append(k.buffer[:0], run...), 0), date...)
	if last >= 0 && k.texts[last] == string(k.buffer) {
		return last
	}
	n, ok := k.number[string(k.buffer)]
	if !ok {
		n = int32(len(k.texts))
		text := string(k.buffer)
		k.number[text], k.texts, k.known = n, append(k.texts, text), append(k.known, -1)
	}
	return n
}

// A merger joins stretches that a cut has parted and hands them on.
type merger struct {
	add    func(reading.Stretch)
	number map[string]int32
	runs   []reading.Stretch // by number: run, date and key
	now    stretch
	begun  bool
}

func (m *merger) put(s stretch, k *keys) {
	n := k.known[s.key]
	if n < 0 {
		n = m.learn(k.texts[s.key])
		k.known[s.key] = n
	}
	if m.begun && (s.orphan || n == m.now.key) {
		m.now.open = m.now.open || s.open
		return
	}
	m.end(s.from)
	s.key = n
	m.now, m.begun = s, true
}

func (m *merger) learn(text string) int32 {
	n, ok := m.number[text]
	if !ok {
		n = int32(len(m.runs))
		m.number[text] = n
		run, date, _ := strings.Cut(text, "\x00")
		day, _ := cell.ParseDay([]byte(date)) // a date that is none shows as a problem of its row
		m.runs = append(m.runs, reading.Stretch{Run: []byte(run), Date: day, Key: int(n) + 1})
	}
	return n
}

func (m *merger) end(at int64) {
	if m.begun {
		s := m.runs[m.now.key]
		s.Open, s.From, s.To, s.Line = m.now.open, m.now.from, at, m.now.line
		m.add(s)
	}
}
