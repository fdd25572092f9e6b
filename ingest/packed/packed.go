// Package packed keeps readings in one table, as a Parquet file or an Arrow
// stream, with the columns of the long format in canonical units: frequencies in
// Hz, levels in dBm or, relative to the generator, in dB. A level written in dBuV
// becomes the number of dBm that the arithmetic uses, to the bit.
//
// The rows are those of the long format, one per reading, sorted by run. Every run
// has its label in the column run, also where the data had none and the file's
// name and the date stood for it. Side tables are carried in the metadata, as CSV.
package packed

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"sealbound/ingest/columnar"
	"sealbound/ingest/reading"
	"sealbound/ingest/sidetable"
)

// Version is that of the table's columns and their meaning.
const Version = 1

// The keys of the metadata.
const (
	keyVersion = "sealbound.schema"
	keyKind    = "sealbound.kind"
	// within how many Hz the profiles of traces say that frequencies are the same
	keyTolerance = "sealbound.freq_tolerance_hz"
	// where the rows of each run and date stand, so that they need not be looked through
	keyRuns    = "sealbound.runs"
	kindName   = "readings"
	sidePrefix = "sealbound.table."
)

// A slot is what one column of the table holds of a reading.
type slot struct {
	field  columnar.Field
	column reading.Column // whose labels, days or numbers they are
	unit   reading.Unit   // of Level and Floor: only of readings in this unit
}

// limited is the flag of a figure that is a limit, an attenuation at least or a level
// at most; in the long format a > before an attenuation says the same.
const limited = reading.Columns

// slots are all columns of the table, in their order. A file has those that some
// reading fills, in this order.
var slots = func() []slot {
	text := func(c reading.Column) slot { return slot{field: columnar.Field{Name: c.Name()}, column: c} }
	day := func(c reading.Column) slot {
		return slot{field: columnar.Field{Name: c.Name(), Kind: columnar.Day}, column: c}
	}
	number := func(name, unit string, c reading.Column, of reading.Unit) slot {
		return slot{columnar.Field{Name: name, Kind: columnar.Number, Unit: unit}, c, of}
	}
	list := []slot{text(reading.Run), text(reading.Session), day(reading.Date), text(reading.Box), text(reading.Gasket),
		text(reading.Fitting), day(reading.Installed), text(reading.Closing), text(reading.Sweep), text(reading.State),
		number("freq_hz", "Hz", reading.Freq, 0),
		number("level_dbm", "dBm", reading.Level, reading.DBm), number("level_db", "dB", reading.Level, reading.Decibel),
		number("floor_dbm", "dBm", reading.Floor, reading.DBm), number("floor_db", "dB", reading.Floor, reading.Decibel),
		number("tx_dbm", "dBm", reading.Tx, 0), number("gain_db", "dB", reading.Gain, 0),
		number("atten_db", "dB", reading.Atten, reading.Attenuated),
		{columnar.Field{Name: "limited", Kind: columnar.Flag}, limited, 0}}
	for c := reading.Position; c < reading.Columns; c++ {
		list = append(list, text(c))
	}
	return list
}()

// Canonical is the unit in which the table keeps readings of unit u.
func Canonical(u reading.Unit) reading.Unit {
	if u == reading.DBuV {
		return reading.DBm
	}
	return u
}

// A Layout is the columns that some reading fills. The zero value is empty; Add
// takes readings in.
type Layout struct {
	filled [64]bool // by slot
	Rows   int
	Units  [reading.Attenuated + 1]bool // canonical units of the readings
	AtMost bool                         // some level is known as an upper limit alone
	runs   []stretch
	// FreqToleranceHz is within how many Hz frequencies are the same, beyond the
	// setting; 0 where nothing says so.
	FreqToleranceHz float64
}

// Add notes what the first n readings of a batch, which will have that label, fill.
func (l *Layout) Add(b *reading.Batch, n int, label string) {
	l.addRuns(b, n, label)
	l.Rows += n
	for i := range n {
		l.Units[Canonical(b.Unit[i])] = true
		l.AtMost = l.AtMost || b.Limited[i] && b.Unit[i] != reading.Attenuated
	}
	for s := range slots {
		if !l.filled[s] {
			l.filled[s] = fills(&slots[s], b, n)
		}
	}
}

func fills(s *slot, b *reading.Batch, n int) bool {
	switch s.column {
	case reading.Run, reading.State, reading.Freq:
		return n > 0
	case limited:
		for i := range n {
			if b.Limited[i] {
				return true
			}
		}
		return false
	}
	switch s.field.Kind {
	case columnar.Text:
		for i := range n {
			if b.Code(s.column, i) != 0 {
				return true
			}
		}
	case columnar.Day:
		days := daysOf(s, b)
		for i := range n {
			if days[i] != columnar.NoDay {
				return true
			}
		}
	case columnar.Number:
		for i := range n {
			if v := s.number(b, i); v == v {
				return true
			}
		}
	}
	return false
}

// fields are those of a file of this layout.
func (l *Layout) fields() (fields []columnar.Field, which []int) {
	for s := range slots {
		if l.filled[s] {
			fields, which = append(fields, slots[s].field), append(which, s)
		}
	}
	return fields, which
}

// number is what slot s holds of reading i, NaN for nothing.
func (s *slot) number(b *reading.Batch, i int) float64 {
	if s.unit != reading.NoUnit && Canonical(b.Unit[i]) != s.unit {
		return math.NaN()
	}
	switch s.column {
	case reading.Freq:
		return b.FreqHz[i]
	case reading.Level:
		return b.Level[i] + b.Unit[i].Offset()
	case reading.Atten:
		return b.Level[i]
	case reading.Floor:
		return b.Floor[i]
	case reading.Tx:
		return b.Tx[i]
	}
	return b.Gain[i]
}

// meta is the metadata of a table with those side tables.
func (l *Layout) meta(kind string, side []Side) []columnar.Pair {
	pairs := []columnar.Pair{{Key: keyVersion, Value: strconv.Itoa(Version)}, {Key: keyKind, Value: kind}}
	if len(l.runs) > 0 {
		pairs = append(pairs, columnar.Pair{Key: keyRuns, Value: writeRuns(l.runs)})
	}
	if l.FreqToleranceHz > 0 {
		pairs = append(pairs, columnar.Pair{Key: keyTolerance, Value: strconv.FormatFloat(l.FreqToleranceHz, 'g', -1, 64)})
	}
	for _, s := range side {
		pairs = append(pairs, columnar.Pair{Key: sidePrefix + s.Name, Value: s.CSV})
	}
	return pairs
}

// A Side is a side table that the file carries.
type Side = sidetable.Carried

// carried are the side tables among the metadata of a file.
func carried(f *columnar.File) (side []Side) {
	for _, p := range f.Meta {
		if name, ok := strings.CutPrefix(p.Key, sidePrefix); ok {
			side = append(side, Side{Name: name, CSV: p.Value})
		}
	}
	return side
}

// checkMeta checks what the metadata say of the table.
func checkMeta(f *columnar.File) *columnar.Fault {
	kind, _ := f.Value(keyKind)
	text, _ := f.Value(keyVersion)
	version, err := strconv.Atoi(text)
	switch {
	case kind == "" || err != nil || version < 1:
		return &columnar.Fault{What: "its metadata do not say what it holds", Mend: "pack it again"}
	case version > Version:
		return &columnar.Fault{What: fmt.Sprintf("it was packed by a later version (columns of version %d, known is %d)", version, Version), Mend: "read it with that version, or pack it as CSV there"}
	}
	return nil
}
