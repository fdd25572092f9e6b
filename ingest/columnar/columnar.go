// Package columnar keeps flat tables in Parquet files and Arrow streams: columns
// of labels, numbers, days and flags, some 65,000 rows at a time, with a checksum
// over the whole file. It knows nothing of what the columns mean.
//
// Nothing of a file is believed before its checksum is right: a byte that was
// changed, lost or added is told in one line, and the readers of the two formats
// never see it. A file without the checksum is not one that this package wrote
// and is refused with what it lacks.
package columnar

import (
	"errors"
	"fmt"
	"io"
	"math"
	"sort"
	"strconv"
	"strings"
)

// A Kind is what a column holds.
type Kind uint8

// Kinds of columns. A Text is a dictionary of UTF-8 labels and a code for each
// row, a Number a double, a Day a civil date, a Flag true or false.
const (
	Text Kind = iota
	Number
	Day
	Flag
)

// A Field is one column of a table.
type Field struct {
	Name string
	Kind Kind
	Unit string // of a Number, in words of the field; kept in Arrow's metadata
}

// NoDay stands where a day is not given.
const NoDay = math.MinInt32

var nan = math.NaN()

// A Column is the values of one field in one chunk, one per row. A text that is
// empty is not given; nor is a number that is NaN, or the day NoDay. A flag that
// is not given is false. Constant columns have one value for all rows.
type Column struct {
	Codes    []int32  // of a Text: index in Dict
	Dict     [][]byte // of a Text; Dict[0] is empty
	Numbers  []float64
	Days     []int32
	Flags    []bool
	Constant bool    // the slice holds one value, that of every row
	Starts   []int32 // the rows from which on each value of the slice holds, the first of them 0; none where it holds one for each row
	// Of a Number that was read: how many rows have a value, and between which these
	// lie; Lo > Hi where none has.
	Given  int
	Lo, Hi float64
}

// note takes values into Lo and Hi.
func (c *Column) note(values []float64) {
	for _, v := range values {
		if v < c.Lo {
			c.Lo = v
		}
		if v > c.Hi {
			c.Hi = v
		}
	}
}

func (c *Column) noteNothing() { c.Given, c.Lo, c.Hi = 0, math.Inf(1), math.Inf(-1) }

// A Chunk is some rows of a table, by column in the order of the fields.
type Chunk struct {
	Rows    int
	Columns []Column
}

// A Pair is an entry of a file's metadata.
type Pair struct{ Key, Value string }

// A Fault says that a file cannot be used: what is wrong and what would mend it.
type Fault struct{ What, Mend string }

// Error gives both in one line.
func (f *Fault) Error() string { return f.What + "; " + f.Mend }

const mendDamage = "copy the file again from where it came, or pack it again"

func damaged(format string, args ...any) *Fault {
	return &Fault{"the file is damaged: " + fmt.Sprintf(format, args...), mendDamage}
}

// The keys that this package adds to the metadata: the number of rows, and the
// checksum, which is last.
const (
	keyRows = "sealbound.rows"
	keySum  = "sealbound.checksum"
)

// A File is an opened table. Its methods may be called from several goroutines.
type File struct {
	Fields []Field
	Meta   []Pair // without those that this package adds
	Rows   int
	chunks []int // rows of each
	body   body
}

// body reads a chunk. want has a flag for each field; columns not wanted stay as
// they are.
type body interface {
	read(src io.ReaderAt, chunk int, want []bool, into *Chunk) error
}

// Chunks is how many chunks the file has.
func (f *File) Chunks() int { return len(f.chunks) }

// ChunkRows is how many rows chunk i has.
func (f *File) ChunkRows(i int) int { return f.chunks[i] }

// Value is the metadata's entry key, and whether there is one.
func (f *File) Value(key string) (string, bool) { return lookUp(f.Meta, key) }

func lookUp(meta []Pair, key string) (string, bool) {
	for _, p := range meta {
		if p.Key == key {
			return p.Value, true
		}
	}
	return "", false
}

// Read fills into with the wanted columns of chunk i. Memory of into is used
// again where it is large enough. The error is a *Fault where the file does not
// hold what it should.
func (f *File) Read(src io.ReaderAt, i int, want []bool, into *Chunk) (err error) {
	defer guard(&err)
	into.Rows = f.chunks[i]
	if len(into.Columns) != len(f.Fields) {
		into.Columns = make([]Column, len(f.Fields))
	}
	if err := f.body.read(src, i, want, into); err != nil {
		return err
	}
	for k := range into.Columns {
		if want[k] {
			if err := into.Columns[k].check(f.Fields[k], into.Rows); err != nil {
				return err
			}
		}
	}
	return nil
}

// check makes sure that a column has what its readers rely on.
func (c *Column) check(f Field, rows int) error {
	n := [...]int{len(c.Codes), len(c.Numbers), len(c.Days), len(c.Flags)}[f.Kind]
	if c.Constant && n == 1 || len(c.Starts) > 0 && n == len(c.Starts) {
		n = rows
	}
	if n != rows {
		return damaged("the column %s has %d rows of %d", f.Name, n, rows)
	}
	return nil
}

// guard is the edge behind which the libraries' own troubles end: what they throw
// becomes a fault of the file.
func guard(err *error) {
	if r := recover(); r != nil {
		*err = damaged("its content does not fit together (%.80v)", r)
	}
}

// settle takes the package's own entries off the metadata.
func (f *File) settle(all []Pair) error {
	rows, ok := lookUp(all, keyRows)
	n, err := strconv.Atoi(rows)
	if !ok || err != nil || n < 0 {
		return damaged("its metadata do not tell the number of rows")
	}
	sum := 0
	for _, r := range f.chunks {
		sum += r
	}
	if sum != n {
		return damaged("it holds %d rows and should hold %d", sum, n)
	}
	f.Rows = n
	for _, p := range all {
		if p.Key != keyRows && p.Key != keySum && strings.HasPrefix(p.Key, "sealbound.") {
			f.Meta = append(f.Meta, p)
		}
	}
	return nil
}

// foreign refuses a file that this package did not write.
func foreign(kind string) *Fault {
	return &Fault{"this " + kind + " was not packed by sealbound: the entry " + keySum + " is missing from its metadata",
		"export it as CSV in the long format, or move it out of the folder"}
}

// asFault words an error of a library. Errors of reading the file pass.
func asFault(err error, src *watched) error {
	if src.err != nil {
		return src.err
	}
	var f *Fault
	if errors.As(err, &f) {
		return f
	}
	return damaged("%.120v", err)
}

// watched keeps an error of reading, which is none of the content.
type watched struct {
	io.ReaderAt
	err error
}

func (w *watched) ReadAt(b []byte, off int64) (int, error) {
	n, err := w.ReaderAt.ReadAt(b, off)
	if err != nil && err != io.EOF {
		w.err = err
	}
	return n, err
}

// resize gives a slice of n values, using s's memory where it suffices.
func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// Index is where the value of row r stands in the slice.
func (c *Column) Index(r int) int {
	switch {
	case c.Constant:
		return 0
	case len(c.Starts) > 0:
		return sort.Search(len(c.Starts), func(i int) bool { return int(c.Starts[i]) > r }) - 1
	}
	return r
}

// At is the value of row r of a column of that kind; the others are not given.
func (c *Column) At(k Kind, r int) (text string, number float64, day int32, flag bool) {
	number, day = nan, NoDay
	r = c.Index(r)
	switch k {
	case Text:
		text = string(c.Dict[c.Codes[r]])
	case Number:
		number = c.Numbers[r]
	case Day:
		day = c.Days[r]
	case Flag:
		flag = c.Flags[r]
	}
	return text, number, day, flag
}
