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
	file    int32
	f       *columnar.File
	at      []int // by slot: the column of the file, -1 where there is none
	columns []reading.Column
	starts  []int // the first row of each chunk, and the number of rows
	runs    []stretch

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

	segments     []segment
	changed      []bool
	level, floor *columnar.Column // nil where no row has any
	unit         reading.Unit     // of all rows, unless units tells those of each
	units        []reading.Unit
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
		return openTable(file, f)
	default:
		return nil, &columnar.Fault{What: fmt.Sprintf("it holds %.40q, which is not known here", kind), Mend: "read it with the version that packed it"}
	}
}

func openTable(file int32, f *columnar.File) (*table, error) {
	t := &table{file: file, f: f, at: make([]int, len(slots))}
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
	text, _ := f.Value(keyRuns)
	var fault *columnar.Fault
	if t.runs, fault = readRuns(text, f.Rows); fault != nil {
		return nil, fault
	}
	return t, nil
}

// slotOf is the first slot of a column.
func slotOf(c reading.Column) int { return firstSlots[c] }

var firstSlots = func() (of [reading.Columns + 1]int) {
	for s := len(slots) - 1; s >= 0; s-- {
		of[slots[s].column] = s
	}
	return of
}()

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

// Index passes on the list of runs that the file carries.
func (t *table) Index(_ context.Context, _ io.ReaderAt, add func(reading.Stretch)) (reading.Count, error) {
	row := 0
	var run []byte
	for _, s := range t.runs {
		run = append(run[:0], s.run...)
		add(reading.Stretch{Run: run, Date: s.date, Open: s.open, From: int64(row), To: int64(row + s.rows), Line: row + 1})
		row += s.rows
	}
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

// codes and days read a column.
type codes struct{ c *columnar.Column }

func (x codes) at(r int) int32 {
	return x.c.Codes[x.c.Index(r)]
}

type days struct{ c *columnar.Column }

func (x days) at(r int) cell.Day {
	if x.c == nil {
		return cell.NoDay
	}
	return cell.Day(x.c.Days[x.c.Index(r)])
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
		for slot, k := range t.at {
			if k >= 0 && slots[slot].column != reading.Run {
				want[k] = true
			}
		}
		if e.err = t.f.Read(src, number, want, &e.chunk); e.err == nil {
			if e.kinds, e.err = t.kindsOf(&e.chunk); e.err == nil {
				e.err = e.digest(t)
			}
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
			err = b.Full(b.Len())
		}
		if err == nil {
			t.append(e, from-t.starts[number], to-t.starts[number], b)
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
func (t *table) append(e *entry, from, to int, b *reading.Batch) {
	n, at := to-from, b.Len()
	if at > 0 {
		b.Breaks() // those of rows of other formats, before
	}
	for _, c := range t.columns {
		b.Use(c)
	}
	b.Extend(n, t.columns)
	first := t.starts[e.number] + from
	for i := range n {
		b.Line[at+i], b.At[at+i] = int32(min(first+i+1, math.MaxInt32)), int64(first+i)
	}
	fill(b.FreqHz[at:], t.column(e, slotOf(reading.Freq)), from, n)
	fill(b.Level[at:], e.level, from, n)
	fill(b.Floor[at:], e.floor, from, n)
	fill(b.Tx[at:], t.column(e, slotOf(reading.Tx)), from, n)
	fill(b.Gain[at:], t.column(e, slotOf(reading.Gain)), from, n)
	flags := t.column(e, slotOf(limited))
	switch {
	case flags == nil:
		clear(b.Limited[at:])
	case flags.Constant:
		reading.Fill(b.Limited[at:], flags.Flags[0])
	default:
		copy(b.Limited[at:], flags.Flags[from:to])
	}
	reading.Fill(b.File[at:], t.file)
	k := sort.Search(len(e.segments), func(i int) bool { return int(e.segments[i].to) > from })
	for ; k < len(e.segments) && int(e.segments[k].from) < to; k++ {
		s := &e.segments[k]
		x, y := at+max(int(s.from), from)-from, at+min(int(s.to), to)-from
		b.Break(x)
		reading.Fill(b.Kind[x:y], s.kind)
		reading.Fill(b.Unit[x:y], s.unit)
		reading.Fill(b.Date[x:y], s.date)
		reading.Fill(b.Installed[x:y], s.installed)
		for _, c := range t.columns {
			col := t.column(e, slotOf(c))
			reading.Fill(b.Text[c][x:y], b.Labels.Code(col.Dict[codes{col}.at(int(s.from))]))
		}
	}
	b.Cut(at + n)
	b.Even(at + n)
}

func (t *table) column(e *entry, s int) *columnar.Column {
	if t.at[s] < 0 {
		return nil
	}
	return &e.chunk.Columns[t.at[s]]
}

func numberAt(c *columnar.Column, r int) float64 {
	if c.Constant {
		return c.Numbers[0]
	}
	return c.Numbers[r]
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
