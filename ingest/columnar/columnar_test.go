package columnar

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"testing"
)

// The format of a test is one of the two kinds of files.
type format struct {
	name  string
	write func(t testing.TB, fields []Field, meta []Pair, chunks []*Chunk) []byte
	open  func(src *bytes.Reader, size int64) (*File, error)
}

var formats = []format{
	{"parquet", func(t testing.TB, fields []Field, meta []Pair, chunks []*Chunk) []byte {
		var b bytes.Buffer
		w, err := NewParquetWriter(&b, fields, meta)
		return finish(t, &b, w, err, chunks)
	}, func(src *bytes.Reader, size int64) (*File, error) { return OpenParquet(src, size) }},
	{"stream", func(t testing.TB, fields []Field, meta []Pair, chunks []*Chunk) []byte {
		var b bytes.Buffer
		rows := 0
		for _, c := range chunks {
			rows += c.Rows
		}
		w, err := NewStreamWriter(&b, fields, meta, rows)
		return finish(t, &b, w, err, chunks)
	}, func(src *bytes.Reader, size int64) (*File, error) { return OpenStream(src, size) }},
}

func finish(t testing.TB, b *bytes.Buffer, w Writer, err error, chunks []*Chunk) []byte {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range chunks {
		if err := w.Write(c); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

var someFields = []Field{{Name: "label", Kind: Text}, {Name: "level_dbm", Kind: Number, Unit: "dBm"}, {Name: "date", Kind: Day}, {Name: "limited", Kind: Flag}, {Name: "note", Kind: Text}, {Name: "other", Kind: Number}}

// made is a chunk with everything that a column may hold, or with constant columns.
func made(r *rand.Rand, rows int, constant bool) *Chunk {
	if constant {
		return stretched(r, rows, rows)
	}
	return stretched(r, rows, 1)
}

// stretched is a chunk in which each value holds for so many rows.
func stretched(r *rand.Rand, rows, hold int) *Chunk {
	c := &Chunk{Rows: rows, Columns: make([]Column, len(someFields))}
	n := r.IntN(1000)
	for k, f := range someFields {
		col := &c.Columns[k]
		col.Dict = [][]byte{nil}
		for i := range 1 + r.IntN(5) {
			col.Dict = append(col.Dict, fmt.Appendf(nil, "%s %d, \"é\"\n", f.Name, i))
		}
		for i := range rows {
			if next := r.IntN(1000); i%hold == 0 && hold < rows {
				n = next
			}
			switch f.Kind {
			case Text:
				col.Codes = append(col.Codes, int32(n%len(col.Dict)))
			case Number:
				col.Numbers = append(col.Numbers, []float64{float64(n) / 7, 0, math.Copysign(0, -1), math.NaN(), math.MaxFloat64, 5e-324}[n%6])
			case Day:
				col.Days = append(col.Days, []int32{int32(n), -int32(n), NoDay}[n%3])
			case Flag:
				col.Flags = append(col.Flags, n%2 == 0)
			}
		}
	}
	return c
}

// values are a column's values, one per row, in a form that can be compared.
func (c *Column) values(f Field, rows int) []string {
	out := make([]string, rows)
	for i := range out {
		k := c.Index(i)
		switch f.Kind {
		case Text:
			out[i] = string(c.Dict[c.Codes[k]])
		case Number:
			out[i] = fmt.Sprintf("%x", math.Float64bits(c.Numbers[k]))
			if c.Numbers[k] != c.Numbers[k] {
				out[i] = "none"
			}
		case Day:
			out[i] = fmt.Sprint(c.Days[k])
		case Flag:
			out[i] = fmt.Sprint(c.Flags[k])
		}
	}
	return out
}

var someMeta = []Pair{{"sealbound.kind", "test"}, {"sealbound.table.setup", "run,field,value\n,note,\"sealbound crc32c:00000000 é\"\n"}}

func TestRoundTrip(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	for _, f := range formats {
		for trial := range 30 {
			var chunks []*Chunk
			rows := 0
			for range r.IntN(4) {
				n := 1 + r.IntN(600)
				c := stretched(r, n, []int{1, 9, 60, n}[r.IntN(4)])
				chunks = append(chunks, c)
				rows += c.Rows
			}
			file := f.write(t, someFields, someMeta, chunks)
			got, err := f.open(bytes.NewReader(file), int64(len(file)))
			if err != nil {
				t.Fatalf("%s, trial %d: %v", f.name, trial, err)
			}
			if got.Rows != rows || got.Chunks() != len(chunks) || !slices.Equal(got.Meta, someMeta) || len(got.Fields) != len(someFields) {
				t.Fatalf("%s: %d rows, %d chunks, %v, %v", f.name, got.Rows, got.Chunks(), got.Meta, got.Fields)
			}
			want := make([]bool, len(someFields))
			for k := range want {
				want[k] = true
			}
			var into Chunk
			for i, c := range chunks {
				if err := got.Read(bytes.NewReader(file), i, want, &into); err != nil {
					t.Fatal(f.name, err)
				}
				for k, field := range someFields {
					if got.Fields[k].Name != field.Name || got.Fields[k].Kind != field.Kind {
						t.Fatalf("%s: field %v, want %v", f.name, got.Fields[k], field)
					}
					if a, b := into.Columns[k].values(field, c.Rows), c.Columns[k].values(field, c.Rows); !slices.Equal(a, b) {
						t.Fatalf("%s, chunk %d, column %s:\n%v\n%v", f.name, i, field.Name, a, b)
					}
				}
			}
		}
	}
}

func TestColumnsOfTheirChoice(t *testing.T) {
	c := made(rand.New(rand.NewPCG(1, 1)), 100, false)
	for _, f := range formats {
		file := f.write(t, someFields, nil, []*Chunk{c})
		got, err := f.open(bytes.NewReader(file), int64(len(file)))
		if err != nil {
			t.Fatal(err)
		}
		var into Chunk
		if err := got.Read(bytes.NewReader(file), 0, []bool{false, true, false, false, false, false}, &into); err != nil {
			t.Fatal(err)
		}
		if len(into.Columns[0].Codes) != 0 || len(into.Columns[1].Numbers) != 100 {
			t.Errorf("%s: other columns than those wanted were read", f.name)
		}
	}
}

// TestSameBytes: what is written does not depend on the number of processors.
func TestSameBytes(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	for _, f := range formats {
		var first []byte
		for n := 1; n <= 4; n++ {
			runtime.GOMAXPROCS(n)
			r := rand.New(rand.NewPCG(7, 7))
			file := f.write(t, someFields, someMeta, []*Chunk{made(r, 20000, false), made(r, 10000, true)})
			if first == nil {
				first = bytes.Clone(file)
			} else if !bytes.Equal(first, file) {
				t.Errorf("%s: other bytes with %d processors", f.name, n)
			}
		}
	}
}

func small(t testing.TB, f format) []byte {
	return bytes.Clone(f.write(t, someFields, someMeta, []*Chunk{made(rand.New(rand.NewPCG(2, 2)), 5, false), made(rand.New(rand.NewPCG(2, 3)), 3, true)}))
}

// readAll reads a file to its end.
func readAll(f format, file []byte) error {
	got, err := f.open(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		return err
	}
	want := make([]bool, len(got.Fields))
	for k := range want {
		want[k] = true
	}
	var into Chunk
	for i := range got.Chunks() {
		if err := got.Read(bytes.NewReader(file), i, want, &into); err != nil {
			return err
		}
	}
	return nil
}

// TestEveryByteCounts: whichever byte of a file is changed, in whatever way, the
// file is refused with a fault.
func TestEveryByteCounts(t *testing.T) {
	for _, f := range formats {
		file := small(t, f)
		if err := readAll(f, file); err != nil {
			t.Fatal(f.name, err)
		}
		for i := range file {
			for _, flip := range []byte{0x01, 0x20, 0x80, 0xff} {
				file[i] ^= flip
				err := readAll(f, file)
				var fault *Fault
				if !errors.As(err, &fault) || fault.What == "" || fault.Mend == "" {
					t.Errorf("%s: byte %d of %d changed by %#x: %v", f.name, i, len(file), flip, err)
				}
				file[i] ^= flip
			}
		}
	}
}

func TestEveryLengthCounts(t *testing.T) {
	for _, f := range formats {
		file := small(t, f)
		for n := range file {
			var fault *Fault
			if err := readAll(f, file[:n]); !errors.As(err, &fault) {
				t.Errorf("%s: cut to %d of %d bytes: %v", f.name, n, len(file), err)
			}
		}
		for _, more := range []string{"\x00", "PAR1", "\xff\xff\xff\xff\x00\x00\x00\x00"} {
			var fault *Fault
			if err := readAll(f, append(bytes.Clone(file), more...)); !errors.As(err, &fault) {
				t.Errorf("%s: with %q behind it: %v", f.name, more, err)
			}
		}
	}
}

// TestForged: behind a right checksum the libraries meet every damage; what they
// throw is caught, and nothing asks for more memory than the file could hold.
func TestForged(t *testing.T) {
	flips := 1
	if os.Getenv("SEALBOUND_LONG") != "" {
		flips = 2
	}
	var now runtime.MemStats
	runtime.ReadMemStats(&now)
	before := now.TotalAlloc
	for _, f := range formats {
		file := small(t, f)
		for i := range file {
			for _, flip := range []byte{1 << (i % 8), 0xff}[:flips] {
				forged := bytes.Clone(file)
				forged[i] ^= flip
				err := readForged(f, forged)
				var fault *Fault
				if err != nil && !errors.As(err, &fault) {
					t.Errorf("%s: byte %d changed by %#x: %v is no fault", f.name, i, flip, err)
				}
				var now runtime.MemStats
				runtime.ReadMemStats(&now)
				if n := now.TotalAlloc - before; n > 1<<30 {
					t.Errorf("%s: byte %d changed by %#x: %d bytes were asked for", f.name, i, flip, n)
				}
				before = now.TotalAlloc
			}
		}
	}
}

// readForged puts the right checksum into a file and reads it.
func readForged(f format, file []byte) error {
	sign(file, f.name == "parquet")
	return readAll(f, file)
}

// sign completes the checksum of a file that was changed, at the place where it
// should stand.
func sign(file []byte, last bool) {
	digits := findSums(file, last)
	if len(digits) == 0 {
		return
	}
	d := digits[0]
	if d+sumDigits > len(file) {
		return
	}
	copy(file[d:], noSum[len(sumMark):])
	s := &summing{}
	_, _ = s.Write(file)
	copy(file[d:], sumOf(s.crc))
}

func FuzzOpen(f *testing.F) {
	for k, form := range formats {
		f.Add(small(f, form), k == 0)
	}
	f.Add([]byte("PAR1PAR1PAR1"), true)
	f.Add([]byte("ARROW1\x00\x00"), false)
	f.Fuzz(func(t *testing.T, data []byte, isParquet bool) {
		form := formats[1]
		if isParquet {
			form = formats[0]
		}
		file := bytes.Clone(data)
		sign(file, isParquet)
		var fault *Fault
		if err := readAll(form, file); err != nil && !errors.As(err, &fault) {
			t.Errorf("%v is no fault", err)
		}
	})
}
