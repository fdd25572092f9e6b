package columnar

import (
	"bytes"
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
		largest, ok := hybrid(b, width, got)
		if !ok || !slices.Equal(got, values) || largest != slices.Max(values) {
			t.Fatalf("width %d: %v became %v, largest %d, %v", width, values, got, largest, ok)
		}
	}
}
