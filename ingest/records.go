package ingest

import (
	"math"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// attenuationRecord writes pairs as a record of schema Attenuation.
func attenuationRecord(mem memory.Allocator, pairs []pair, line func(row int32) int32) arrow.Record {
	b := array.NewRecordBuilder(mem, Attenuation)
	defer b.Release()
	b.Reserve(len(pairs))
	closing, point := b.Field(0).(*array.Int32Builder), b.Field(1).(*array.Int32Builder)
	attenuation := b.Field(2).(*array.Float64Builder)
	limited, known := b.Field(3).(*array.BooleanBuilder), b.Field(4).(*array.BooleanBuilder)
	headroom, lines := b.Field(5).(*array.Float64Builder), b.Field(6).(*array.Int32Builder)
	open, closed := b.Field(7).(*array.Float64Builder), b.Field(8).(*array.Float64Builder)
	for i := range pairs {
		p := &pairs[i]
		closing.UnsafeAppend(p.closing)
		point.UnsafeAppend(p.point)
		attenuation.UnsafeAppend(p.attenuation)
		limited.UnsafeAppend(p.limited)
		known.UnsafeAppend(p.floorKnown)
		orNull(headroom, p.headroom)
		lines.UnsafeAppend(line(p.row))
		orNull(open, p.open)
		orNull(closed, p.closed)
	}
	return b.NewRecord()
}

func orNull(b *array.Float64Builder, v float64) {
	if math.IsNaN(v) {
		b.AppendNull()
	} else {
		b.UnsafeAppend(v)
	}
}

// readingsRecord writes the first n readings of a batch as a record of schema
// Readings. All label columns share one dictionary, the labels of the batch.
func readingsRecord(mem memory.Allocator, b *reading.Batch, n int, bad []bool, norm []float64, path func(file int32) string) arrow.Record {
	columns := make([]arrow.Array, 0, Readings.NumFields())
	defer func() {
		for _, c := range columns {
			c.Release()
		}
	}()
	codes := make([]int32, n)
	column := func(code func(i int) int32) {
		for i := range codes {
			codes[i] = code(i)
		}
		columns = append(columns, int32Array(mem, codes)) // the dictionary comes last, when all labels are known
	}
	number := func(at func(i int) float64) {
		a := array.NewFloat64Builder(mem)
		defer a.Release()
		a.Reserve(n)
		for i := range n {
			orNull(a, at(i))
		}
		columns = append(columns, a.NewArray())
	}
	flag := func(at func(i int) bool) {
		a := array.NewBooleanBuilder(mem)
		defer a.Release()
		a.Reserve(n)
		for i := range n {
			a.UnsafeAppend(at(i))
		}
		columns = append(columns, a.NewArray())
	}
	day := func(days []cell.Day) {
		a := array.NewDate32Builder(mem)
		defer a.Release()
		a.Reserve(n)
		for _, d := range days[:n] {
			if d == cell.NoDay {
				a.AppendNull()
			} else {
				a.UnsafeAppend(arrow.Date32(d))
			}
		}
		columns = append(columns, a.NewArray())
	}
	word := func(s string) int32 { return b.Labels.Code([]byte(s)) }
	level := func(i int) float64 {
		if b.Kind[i] == reading.Direct {
			return math.NaN()
		}
		return b.Level[i]
	}

	files := map[int32]int32{}
	column(func(i int) int32 {
		if _, ok := files[b.File[i]]; !ok {
			files[b.File[i]] = word(path(b.File[i]))
		}
		return files[b.File[i]]
	})
	columns = append(columns, int32Array(mem, b.Line[:n]))
	flag(func(i int) bool { return !bad[i] })
	states := [...]int32{word(reading.Open.Word()), word(reading.Closed.Word()), word(reading.Noise.Word()), word(reading.Closed.Word())}
	column(func(i int) int32 { return states[b.Kind[i]] })
	number(func(i int) float64 { return b.FreqHz[i] })
	number(func(i int) float64 { return level(i) + b.Unit[i].Offset() })
	units := [...]int32{0, word("dBm"), word("dBm"), word("dB"), 0}
	column(func(i int) int32 { return units[b.Unit[i]] })
	number(level)
	written := [...]int32{0, word("dBm"), word("dBuV"), word("dB"), 0}
	column(func(i int) int32 { return written[b.Unit[i]] })
	number(func(i int) float64 { return b.Floor[i] })
	number(func(i int) float64 { return b.Tx[i] })
	number(func(i int) float64 { return b.Gain[i] })
	number(func(i int) float64 {
		if b.Kind[i] == reading.Direct {
			return math.NaN()
		}
		return norm[i]
	})
	number(func(i int) float64 {
		if b.Kind[i] == reading.Direct {
			return b.Level[i]
		}
		return math.NaN()
	})
	flag(func(i int) bool { return b.Limited[i] })
	day(b.Date)
	day(b.Installed)
	for _, c := range readingTexts {
		column(func(i int) int32 { return b.Code(c, i) })
	}

	texts := array.NewStringBuilder(mem)
	defer texts.Release()
	texts.AppendValues(b.Labels.Texts(), nil)
	dictionary := texts.NewArray()
	defer dictionary.Release()
	for i, f := range Readings.Fields() {
		if f.Type == label {
			coded := array.NewDictionaryArray(label, columns[i], dictionary)
			columns[i].Release()
			columns[i] = coded
		}
	}
	return array.NewRecord(Readings, columns, int64(n))
}

func int32Array(mem memory.Allocator, values []int32) arrow.Array {
	b := array.NewInt32Builder(mem)
	defer b.Release()
	b.AppendValues(values, nil)
	return b.NewArray()
}
