package packed

import (
	"context"
	"fmt"
	"io"
	"math"
	"sort"
	"strconv"
	"strings"
	"sync"

	"sealbound/ingest/cell"
	"sealbound/ingest/columnar"
	"sealbound/ingest/reading"
	"sealbound/ingest/reduced"
)

// A table is an opened file of packed readings. Its offsets are numbers of rows.
type table struct {
	path    string
	file    int32
	f       *columnar.File
	at      []int // by slot: the column of the file, -1 where there is none
	columns []reading.Column
	starts  []int // the first row of each chunk, and the number of rows

	mu    sync.Mutex
	cache []*entry
}

// An entry is a chunk in memory. Runs are read in order by a few workers, so two
// chunks at a time are in use.
type entry struct {
	number int
	users  int
	once   sync.Once
	chunk  columnar.Chunk
	kinds  []reading.Kind // by code of the column state
	err    error
}

const cached = 2

// Magic reports which kind of packed file begins with head, empty if none does.
func Magic(head []byte) string {
	switch {
	case strings.HasPrefix(string(head), "PAR1"):
		return ".parquet"
	case strings.HasPrefix(string(head), "\xff\xff\xff\xff"), strings.HasPrefix(string(head), "ARROW1"):
		return ".arrow"
	}
	return ""
}

// Opener opens packed files of one kind.
type Opener func(src io.ReaderAt, size int64) (*columnar.File, error)

// Open opens a packed file. One that cannot be used gives no table but a problem.
func Open(open Opener) func(path string, file int32, src io.ReaderAt, size int64) (reading.Table, []reading.Problem, error) {
	return func(path string, file int32, src io.ReaderAt, size int64) (reading.Table, []reading.Problem, error) {
		t, err := openAny(open, path, file, src, size)
		if fault := faultOf(err); fault != nil {
			return nil, []reading.Problem{{File: path, What: fault.What, Mend: fault.Mend}}, nil
		}
		if err != nil {
			return nil, nil, err
		}
		return t, nil, nil
	}
}

func faultOf(err error) *columnar.Fault {
	fault, _ := err.(*columnar.Fault)
	return fault
}

// openAny opens a table of readings, or one of closings.
func openAny(open Opener, path string, file int32, src io.ReaderAt, size int64) (reading.Table, error) {
	if size == 0 {
		return nil, &columnar.Fault{What: "the file is empty", Mend: "pack it again, or remove the file"}
	}
	f, err := open(src, size)
	if err != nil {
		return nil, err
	}
	if fault := checkMeta(f); fault != nil {
		return nil, fault
	}
	switch kind, _ := f.Value(keyKind); kind {
	case reduced.Kind:
		return reduced.Open(path, file, f, src, carried(f))
	case kindName:
		return openTable(path, file, f)
	default:
		return nil, &columnar.Fault{What: fmt.Sprintf("it holds %.40q, which is not known here", kind), Mend: "read it with the version that packed it"}
	}
}

func openTable(path string, file int32, f *columnar.File) (*table, error) {
	t := &table{path: path, file: file, f: f, at: make([]int, len(slots))}
	byName := map[string]int{}
	for k, field := range f.Fields {
		if _, twice := byName[field.Name]; twice {
			return nil, &columnar.Fault{What: fmt.Sprintf("it has two columns %q", field.Name), Mend: "pack it again"}
		}
		byName[field.Name] = k
	}
	for s := range slots {
		t.at[s] = -1
		if k, ok := byName[slots[s].field.Name]; ok {
			if f.Fields[k].Kind != slots[s].field.Kind {
				return nil, &columnar.Fault{What: fmt.Sprintf("its column %s has another type", slots[s].field.Name), Mend: "pack it again"}
			}
			t.at[s] = k
			if c := slots[s].column; c < reading.Columns && c.IsText() {
				t.columns = append(t.columns, c)
			}
		}
	}
	for _, c := range []reading.Column{reading.Run, reading.State, reading.Freq} {
		if t.at[slotOf(c)] < 0 {
			return nil, &columnar.Fault{What: fmt.Sprintf("the column %s is missing", c.Name()), Mend: "pack it again"}
		}
	}
	row := 0
	for i := range f.Chunks() {
		t.starts = append(t.starts, row)
		row += f.ChunkRows(i)
	}
	t.starts = append(t.starts, row)
	return t, nil
}

func slotOf(c reading.Column) int {
	for s := range slots {
		if slots[s].column == c {
			return s
		}
	}
	panic("packed: no column of " + c.Name())
}

// ByRow says that offsets are numbers of rows.
func (t *table) ByRow() {}

// FreqToleranceHz is within how many Hz the file says that frequencies are the same.
func (t *table) FreqToleranceHz() float64 {
	text, _ := t.f.Value(keyTolerance)
	if v, err := strconv.ParseFloat(text, 64); err == nil && v > 0 && !math.IsInf(v, 0) {
		return v
	}
	return 0
}

// SideTables are those that the file carries.
func (t *table) SideTables() []Side { return carried(t.f) }

// Index finds the stretches of rows that have the same run and date.
func (t *table) Index(ctx context.Context, src io.ReaderAt, add func(reading.Stretch)) (reading.Count, error) {
	run, date, state := t.at[slotOf(reading.Run)], t.at[slotOf(reading.Date)], t.at[slotOf(reading.State)]
	want := make([]bool, len(t.f.Fields))
	want[run], want[state] = true, true
	if date >= 0 {
		want[date] = true
	}
	var chunk columnar.Chunk
	var now reading.Stretch
	begun := false
	end := func(row int) {
		if begun {
			now.To = int64(row)
			add(now)
		}
	}
	for i := range t.f.Chunks() {
		if err := ctx.Err(); err != nil {
			return reading.Count{}, err
		}
		if err := t.f.Read(src, i, want, &chunk); err != nil {
			return reading.Count{Rows: t.f.Rows}, err
		}
		kinds, err := t.kindsOf(&chunk)
		if err != nil {
			return reading.Count{Rows: t.f.Rows}, err
		}
		runs, states := codes{&chunk.Columns[run]}, codes{&chunk.Columns[state]}
		days := days{nil}
		if date >= 0 {
			days.c = &chunk.Columns[date]
		}
		code, day := int32(-1), cell.NoDay
		for r := range chunk.Rows {
			if c, d := runs.at(r), days.at(r); !begun || c != code || d != day {
				text := chunk.Columns[run].Dict[c]
				if !begun || d != now.Date || string(text) != string(now.Run) {
					end(t.starts[i] + r)
					now = reading.Stretch{Run: append(now.Run[:0], text...), Date: d, From: int64(t.starts[i] + r), Line: t.starts[i] + r + 1}
					begun = true
				}
				code, day = c, d
			}
			now.Open = now.Open || kinds[states.at(r)] == reading.Open
		}
	}
	end(t.f.Rows)
	return reading.Count{Rows: t.f.Rows}, nil
}

// kindsOf reads the states, by their codes.
func (t *table) kindsOf(c *columnar.Chunk) ([]reading.Kind, error) {
	col := &c.Columns[t.at[slotOf(reading.State)]]
	kinds := make([]reading.Kind, len(col.Dict))
	for i, text := range col.Dict {
		switch string(text) {
		case "open":
			kinds[i] = reading.Open
		case "closed":
			kinds[i] = reading.Closed
		case "floor":
			kinds[i] = reading.Noise
		case "":
			kinds[i] = unknown
		default:
			return nil, content("a state %.40q", text)
		}
	}
	return kinds, nil
}

const unknown reading.Kind = 255

func content(format string, args ...any) *columnar.Fault {
	return &columnar.Fault{What: "it holds what pack does not write: " + fmt.Sprintf(format, args...), Mend: "pack it again"}
}

// codes and days read a column, constant or not.
type codes struct{ c *columnar.Column }

func (x codes) at(r int) int32 {
	if x.c.Constant {
		return x.c.Codes[0]
	}
	return x.c.Codes[r]
}

type days struct{ c *columnar.Column }

func (x days) at(r int) cell.Day {
	switch {
	case x.c == nil:
		return cell.NoDay
	case x.c.Constant:
		return cell.Day(x.c.Days[0])
	}
	return cell.Day(x.c.Days[r])
}

// take gives the chunk, read if it is not in memory; give must follow.
func (t *table) take(src io.ReaderAt, number int) *entry {
	t.mu.Lock()
	var e *entry
	for _, x := range t.cache {
		if x.number == number {
			e = x
		}
	}
	if e == nil {
		e = t.spare()
		e.number, e.once, e.err = number, sync.Once{}, nil
	}
	e.users++
	t.mu.Unlock()
	e.once.Do(func() {
		want := make([]bool, len(t.f.Fields))
		for _, k := range t.at {
			if k >= 0 {
				want[k] = true
			}
		}
		if e.err = t.f.Read(src, number, want, &e.chunk); e.err == nil {
			e.kinds, e.err = t.kindsOf(&e.chunk)
		}
	})
	return e
}

// spare is the entry longest out of use, or a new one.
func (t *table) spare() *entry {
	for i, x := range t.cache {
		if x.users == 0 && len(t.cache) >= cached {
			t.cache = append(append(t.cache[:i:i], t.cache[i+1:]...), x)
			return x
		}
	}
	x := &entry{}
	t.cache = append(t.cache, x)
	return x
}

func (t *table) give(e *entry) {
	t.mu.Lock()
	e.users--
	t.mu.Unlock()
}

// Load appends the readings of a stretch to b.
func (t *table) Load(ctx context.Context, src io.ReaderAt, s reading.Stretch, b *reading.Batch) error {
	for from := int(s.From); from < int(s.To); {
		if err := ctx.Err(); err != nil {
			return err
		}
		number := sort.SearchInts(t.starts, from+1) - 1
		to := min(int(s.To), t.starts[number+1])
		e := t.take(src, number)
		err := e.err
		if err == nil {
			err = t.append(e, from-t.starts[number], to-t.starts[number], b)
		}
		t.give(e)
		if err != nil {
			return err
		}
		from = to
	}
	return nil
}

// append takes rows from to to of a chunk into the batch.
func (t *table) append(e *entry, from, to int, b *reading.Batch) error {
	n, at := to-from, b.Len()
	for _, c := range t.columns {
		b.Use(c)
	}
	b.Extend(n, t.columns)
	first := t.starts[e.number] + from
	for i := range n {
		b.File[at+i], b.Line[at+i], b.At[at+i] = t.file, int32(min(first+i+1, math.MaxInt32)), int64(first+i)
	}
	get := func(c reading.Column) *columnar.Column { return t.column(e, slotOf(c)) }
	fillCodes(b.Kind[at:], get(reading.State), from, func(code int32) reading.Kind { return e.kinds[code] })
	fill(b.FreqHz[at:], get(reading.Freq), from, n)
	fill(b.Tx[at:], get(reading.Tx), from, n)
	fill(b.Gain[at:], get(reading.Gain), from, n)
	fillDays(b.Date[at:], get(reading.Date), from)
	fillDays(b.Installed[at:], get(reading.Installed), from)
	for _, c := range t.columns {
		col := get(c)
		fillCodes(b.Text[c][at:], col, from, func(code int32) int32 { return b.Labels.Code(col.Dict[code]) })
	}
	err := t.levels(e, from, n, at, b)
	if err == nil {
		err = check(b, at)
	}
	b.Cut(at + n)
	if err != nil {
		b.Cut(at)
	}
	return err
}

func (t *table) column(e *entry, s int) *columnar.Column {
	if t.at[s] < 0 {
		return nil
	}
	return &e.chunk.Columns[t.at[s]]
}

// levels takes each reading's level from the column that fills it.
func (t *table) levels(e *entry, from, n, at int, b *reading.Batch) error {
	level, floor := b.Level[at:at+n], b.Floor[at:at+n]
	fill(level, nil, from, n)
	fill(floor, nil, from, n)
	for i := range n {
		b.Unit[at+i], b.Limited[at+i] = reading.NoUnit, false
	}
	var flags *columnar.Column
	for s := range slots {
		col := t.column(e, s)
		if col == nil {
			continue
		}
		switch slots[s].column {
		case reading.Level, reading.Atten:
			unit := slots[s].unit
			for i := range n {
				v := numberAt(col, from+i)
				if v != v {
					continue
				}
				if b.Unit[at+i] != reading.NoUnit {
					return content("a row with two levels")
				}
				level[i], b.Unit[at+i] = v, unit
				if unit == reading.Attenuated {
					if b.Kind[at+i] != reading.Closed {
						return content("an attenuation that is not of a closed box")
					}
					b.Kind[at+i] = reading.Direct
				}
			}
		case reading.Floor:
			for i := range n {
				if v := numberAt(col, from+i); v == v {
					floor[i] = v
				}
			}
		case limited:
			flags = col
		}
	}
	if flags != nil {
		for i := range n {
			b.Limited[at+i] = flagAt(flags, from+i)
		}
	}
	return nil
}

func numberAt(c *columnar.Column, r int) float64 {
	if c.Constant {
		return c.Numbers[0]
	}
	return c.Numbers[r]
}

func flagAt(c *columnar.Column, r int) bool {
	if c.Constant {
		return c.Flags[0]
	}
	return c.Flags[r]
}

// fill copies n numbers; NaN where there is no column.
func fill(to []float64, c *columnar.Column, from, n int) {
	switch {
	case c == nil:
		for i := range n {
			to[i] = math.NaN()
		}
	case c.Constant:
		for i := range n {
			to[i] = c.Numbers[0]
		}
	default:
		copy(to[:n], c.Numbers[from:from+n])
	}
}

func fillDays(to []cell.Day, c *columnar.Column, from int) {
	for i := range to {
		to[i] = days{c}.at(from + i)
	}
}

// fillCodes translates codes, each change once.
func fillCodes[T any](to []T, c *columnar.Column, from int, translate func(int32) T) {
	last := int32(-1)
	var now T
	for i := range to {
		if code := (codes{c}).at(from + i); code != last {
			last, now = code, translate(code)
		}
		to[i] = now
	}
}

// mostDB bounds every level, gain and attenuation: beyond it no receiver reads.
const mostDB = 1000

// check makes sure that the readings from at on are such as the long format has.
func check(b *reading.Batch, at int) error {
	within := func(v float64) bool { return v != v || math.Abs(v) <= mostDB }
	for i := at; i < b.Len(); i++ {
		switch kind := b.Kind[i]; {
		case kind == unknown:
			return content("a row without a state")
		case b.Unit[i] == reading.NoUnit:
			return content("a row without a level")
		case !(b.FreqHz[i] > 0):
			return content("a row without a frequency")
		case !within(b.Level[i]), !within(b.Floor[i]), !within(b.Tx[i]), !within(b.Gain[i]):
			return content("a level beyond %d dB", mostDB)
		case b.Unit[i].Relative() && b.Tx[i] == b.Tx[i]:
			return content("a generator level beside a level that is relative to it")
		case (kind == reading.Closed || kind == reading.Direct) && (b.Code(reading.Box, i) == 0 || b.Code(reading.Gasket, i) == 0 || b.Code(reading.Closing, i) == 0):
			return content("a closed reading without box, gasket or closing")
		case b.Date[i] != cell.NoDay && b.Installed[i] > b.Date[i]:
			return content("a strip installed after it was read")
		}
	}
	return nil
}
