package columnar

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
)

// The pages that are written here are read by Apache Arrow's reader, values, gaps and
// statistics alike.
func TestParquetBesideLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	for trial := range 40 {
		var chunks []*Chunk
		for range 1 + r.IntN(3) {
			chunks = append(chunks, made(r, 1+r.IntN([]int{10, 3000, ChunkRows}[trial%3]), trial%4 == 0))
		}
		if trial%5 == 0 { // columns without a value
			none := chunks[0]
			clear(none.Columns[0].Codes)
			for i := range none.Rows {
				none.Columns[1].Numbers[i], none.Columns[2].Days[i] = math.NaN(), NoDay
			}
		}
		data := formats[0].write(t, someFields, someMeta, chunks)
		pf, err := file.NewParquetReader(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		if pf.NumRowGroups() != len(chunks) {
			t.Fatalf("%d row groups, want %d", pf.NumRowGroups(), len(chunks))
		}
		for g, c := range chunks {
			group := pf.RowGroup(g)
			if group.NumRows() != int64(c.Rows) {
				t.Fatalf("%d rows, want %d", group.NumRows(), c.Rows)
			}
			for k, f := range someFields {
				reader, err := group.Column(k)
				if err != nil {
					t.Fatal(err)
				}
				got, want := byLibrary(t, reader, c.Rows), c.Columns[k].values(f, c.Rows)
				if !slices.Equal(got, want) {
					t.Fatalf("trial %d, chunk %d, column %s: the library reads %.200q, written was %.200q", trial, g, f.Name, got, want)
				}
				meta, err := group.MetaData().ColumnChunk(k)
				if err != nil {
					t.Fatal(err)
				}
				stats, err := meta.Statistics()
				if err != nil || stats == nil {
					t.Fatalf("no statistics of %s: %v", f.Name, err)
				}
				nulls, empty := 0, map[Kind]string{Text: "", Number: "none", Day: fmt.Sprint(NoDay), Flag: "neither"}[f.Kind]
				for _, v := range want {
					if v == empty {
						nulls++
					}
				}
				if int(stats.NullCount()) != nulls || stats.HasMinMax() != (nulls < c.Rows) {
					t.Errorf("%s: statistics of %d nulls, bounds %v; there are %d of %d", f.Name, stats.NullCount(), stats.HasMinMax(), nulls, c.Rows)
				}
			}
		}
		if err := pf.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// byLibrary reads a column, in the form of Column.values.
func byLibrary(t *testing.T, reader file.ColumnChunkReader, rows int) []string {
	t.Helper()
	levels := make([]int16, rows)
	var total int64
	var err error
	var value func(i int) string
	empty := ""
	switch r := reader.(type) {
	case *file.ByteArrayColumnChunkReader:
		v := make([]parquet.ByteArray, rows)
		total, _, err = r.ReadBatch(int64(rows), v, levels, nil)
		value = func(i int) string { return string(v[i]) }
	case *file.Float64ColumnChunkReader:
		v := make([]float64, rows)
		total, _, err = r.ReadBatch(int64(rows), v, levels, nil)
		value, empty = func(i int) string { return fmt.Sprintf("%x", math.Float64bits(v[i])) }, "none"
	case *file.Int32ColumnChunkReader:
		v := make([]int32, rows)
		total, _, err = r.ReadBatch(int64(rows), v, levels, nil)
		value, empty = func(i int) string { return fmt.Sprint(v[i]) }, fmt.Sprint(NoDay)
	case *file.BooleanColumnChunkReader:
		v := make([]bool, rows)
		total, _, err = r.ReadBatch(int64(rows), v, levels, nil)
		value = func(i int) string { return fmt.Sprint(v[i]) }
	}
	if err != nil || total != int64(rows) {
		t.Fatalf("%d rows of %d, %v", total, rows, err)
	}
	out, k := make([]string, rows), 0
	for i, l := range levels {
		if out[i] = empty; l == 1 {
			out[i] = value(k)
			k++
		}
	}
	return out
}

// Whatever is coded as runs and groups is decoded to the same.
func TestHybrid(t *testing.T) {
	r := rand.New(rand.NewPCG(23, 24))
	for trial := range 3000 {
		width := 1 + trial%31
		values := make([]int32, 1+r.IntN(100))
		v := int32(0)
		for i := range values {
			if r.IntN(1+trial%13) == 0 {
				v = int32(r.Uint32() & (1<<width - 1))
			}
			values[i] = v
		}
		b := appendHybrid(nil, width, values)
		got := make([]int32, len(values))
		largest, ok := (&hybrid{b, width}).fill(got)
		if !ok || !slices.Equal(got, values) || largest != slices.Max(values) {
			t.Fatalf("width %d: %v became %v, largest %d, %v", width, values, got, largest, ok)
		}
		runs, largest, ok := (&hybrid{b, width}).runs(len(values), len(values), nil)
		got = got[:0]
		for _, x := range runs {
			got = append(got, slices.Repeat([]int32{x.v}, int(x.n))...)
		}
		if !ok || !slices.Equal(got, values) || largest != slices.Max(values) {
			t.Fatalf("width %d: %v became the runs %v, largest %d, %v", width, values, runs, largest, ok)
		}
		if _, _, ok := (&hybrid{b, width}).runs(len(values), len(runs)-1, nil); ok {
			t.Fatalf("width %d: %v has fewer runs than %d", width, values, len(runs))
		}
	}
}

// Values that hold for a while are read as stretches, across pages, until they change
// too often; both give each row its value.
func TestStretches(t *testing.T) {
	r := rand.New(rand.NewPCG(25, 26))
	expanded, kept := 0, 0
	for trial := range 500 {
		kind := []Kind{Text, Day}[trial%2]
		dictionary := 1 + r.IntN(9)
		s := &scratch{days: make([]int32, dictionary)}
		for i := range s.days {
			s.days[i] = int32(100 + i)
		}
		c := &Column{Dict: make([][]byte, 1+dictionary)}
		var want []int32
		pages := 1 + r.IntN(4)
		sizes := make([]int, pages)
		rows := 0
		for p := range sizes {
			sizes[p] = 1 + r.IntN(400)
			rows += sizes[p]
		}
		byRun, at := true, 0
		for p, n := range sizes {
			levels, values := make([]int32, n), []int32(nil)
			hold := 1 + r.IntN(20)
			if trial%3 == 0 {
				hold += 60
			}
			level, value := int32(1), int32(0)
			for i := range n {
				if i%hold == 0 {
					level, value = int32(min(1, r.IntN(4))), int32(r.IntN(dictionary))
				}
				if levels[i] = level; level == 0 {
					want = append(want, -1)
					continue
				}
				want = append(want, value)
				values = append(values, value)
			}
			coded := appendHybrid(nil, 1, levels)
			b := binary.LittleEndian.AppendUint32(nil, uint32(len(coded)))
			b = append(append(b, coded...), 4)
			page := dataOf{appendHybrid(b, 4, values), parquet.Encodings.RLEDict, at, n, dictionary}
			if byRun = byRun && s.stretches(page, kind, rows/fewStretches, c); !byRun {
				if len(c.Codes)+len(c.Days) < rows {
					c.expand(kind, at, rows)
				}
				if !s.data(page, kind, c) {
					t.Fatalf("trial %d, page %d is refused", trial, p)
				}
			}
			at += n
		}
		if byRun {
			kept++
		} else {
			expanded++
		}
		if err := c.check(Field{Kind: kind}, rows); err != nil {
			t.Fatal(err)
		}
		given := 0
		for i, v := range want {
			code, day := v+1, int32(NoDay)
			if v >= 0 {
				day = s.days[v]
				given++
			}
			if k := c.Index(i); kind == Text && c.Codes[k] != code || kind == Day && c.Days[k] != day {
				t.Fatalf("trial %d, row %d: another value than %d", trial, i, v)
			}
		}
		if c.Given != given {
			t.Fatalf("trial %d: %d given, not %d", trial, c.Given, given)
		}
	}
	if expanded < 50 || kept < 50 {
		t.Errorf("%d were expanded, %d kept", expanded, kept)
	}
}
