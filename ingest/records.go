package ingest

import (
	"math"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"sealbound/ingest/reading"
)

// attenuationRecord writes pairs as a record of schema Attenuation.
func attenuationRecord(mem memory.Allocator, pairs []pair, line []int32) arrow.Record {
	n := len(pairs)
	t := newTable(mem, n, 3, 4, 2)
	defer t.release()
	closing, point, row := t.ints[0][:n], t.ints[1][:n], t.ints[2][:n]
	attenuation, headroom, open, closed := t.floats[0][:n], t.floats[1][:n], t.floats[2][:n], t.floats[3][:n]
	limited, floorKnown := t.flags[0], t.flags[1]
	var nulls [4]int       // of attenuation, headroom, open, closed
	for i := range pairs { // all columns at once: the pairs are read from memory once
		q := &pairs[i]
		closing[i], point[i], row[i] = q.closing, q.point, line[q.row]
		attenuation[i], headroom[i], open[i], closed[i] = q.attenuation, q.headroom, q.open, q.closed
		if q.headroom != q.headroom {
			nulls[1]++
		}
		if q.open != q.open {
			nulls[2]++
		}
		if q.closed != q.closed {
			nulls[3]++
		}
		bit := byte(1) << (i & 7)
		if q.limited {
			limited[i>>3] |= bit
		}
		if q.floorKnown {
			floorKnown[i>>3] |= bit
		}
	}
	return newRecord(Attenuation, n, []arrow.Array{
		t.whole(0), t.whole(1), t.number(0, nulls[0]), t.truth(0), t.truth(1), t.number(1, nulls[1]), t.whole(2), t.number(2, nulls[2]), t.number(3, nulls[3]),
	})
}

// readingsRecord writes the first n readings of a batch as a record of schema
// Readings. All label columns share one dictionary, the labels of the batch.
func readingsRecord(mem memory.Allocator, b *reading.Batch, n int, bad []bool, norm []float64, path func(file int32) string) arrow.Record {
	word := func(s string) int32 { return b.Labels.Code([]byte(s)) }
	files := map[int32]int32{}
	for _, f := range b.File[:n] {
		if _, ok := files[f]; !ok {
			files[f] = word(path(f))
		}
	}
	states := [...]int32{word(reading.Open.Word()), word(reading.Closed.Word()), word(reading.Noise.Word()), word(reading.Closed.Word())}
	dBm, dBuV, dB := word(reading.DBm.String()), word(reading.DBuV.String()), word(reading.Decibel.String())
	units, written := [...]int32{0, dBm, dBm, dB, 0}, [...]int32{0, dBm, dBuV, dB, 0}

	// All words of the record are among the labels now.
	texts := array.NewStringBuilder(mem)
	defer texts.Release()
	texts.AppendValues(b.Labels.Texts(), nil)
	dictionary := texts.NewArray()
	defer dictionary.Release()
	labels := func(code func(i int) int32) arrow.Array {
		codes := ints(mem, arrow.PrimitiveTypes.Int32, n, code)
		defer codes.Release()
		return array.NewDictionaryArray(label, codes, dictionary)
	}
	level := func(direct bool, values func(i int) float64) arrow.Array {
		return floats(mem, n, func(i int) float64 {
			if (b.Kind[i] == reading.Direct) != direct {
				return math.NaN()
			}
			return values(i)
		})
	}
	whole, day := arrow.PrimitiveTypes.Int32, arrow.FixedWidthTypes.Date32
	columns := []arrow.Array{
		labels(func(i int) int32 { return files[b.File[i]] }),
		ints(mem, whole, n, func(i int) int32 { return b.Line[i] }),
		flags(mem, n, func(i int) bool { return !bad[i] }),
		labels(func(i int) int32 { return states[b.Kind[i]] }),
		floats(mem, n, func(i int) float64 { return b.FreqHz[i] }),
		level(false, func(i int) float64 { return b.Level[i] + b.Unit[i].Offset() }),
		labels(func(i int) int32 { return units[b.Unit[i]] }),
		level(false, func(i int) float64 { return b.Level[i] }),
		labels(func(i int) int32 { return written[b.Unit[i]] }),
		floats(mem, n, func(i int) float64 { return b.Floor[i] }),
		floats(mem, n, func(i int) float64 { return b.Tx[i] }),
		floats(mem, n, func(i int) float64 { return b.Gain[i] }),
		level(false, func(i int) float64 { return norm[i] }),
		level(true, func(i int) float64 { return b.Level[i] }),
		flags(mem, n, func(i int) bool { return b.Limited[i] }),
		ints(mem, day, n, func(i int) int32 { return int32(b.Date[i]) }),
		ints(mem, day, n, func(i int) int32 { return int32(b.Installed[i]) }),
	}
	for _, c := range readingTexts {
		codes := b.Text[c]
		columns = append(columns, labels(func(i int) int32 {
			if codes == nil {
				return 0
			}
			return codes[i]
		}))
	}
	return newRecord(Readings, n, columns)
}
