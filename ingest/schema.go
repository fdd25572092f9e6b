package ingest

import (
	"github.com/apache/arrow/go/v15/arrow"

	"sealbound/ingest/reading"
)

// label is a dictionary-coded text column; group on its codes, not its strings.
var label = &arrow.DictionaryType{IndexType: arrow.PrimitiveTypes.Int32, ValueType: arrow.BinaryTypes.String}

func unit(u string) arrow.Metadata { return arrow.NewMetadata([]string{"unit"}, []string{u}) }

// Attenuation is the schema of paired readings: one row per closing and point,
// sweeps already averaged in dB.
//
//	attenuation_db = (level - tx - gain) open - (max(level, floor) - tx - gain) closed
//
// limited is true where the closed level stood less than the floor margin above
// the floor, or was itself written as an upper bound: the attenuation is at least
// the figure. headroom_db is open - floor - margin, the most this set-up can show at
// the point, and of an upper bound at most what it shows; null where no floor is
// known or where the data give attenuations. floor_known is false where nothing
// says whether the reading is clear of the floor. open_db and closed_db are
// level - tx - gain of the two, null where the data give attenuations.
var Attenuation = arrow.NewSchema([]arrow.Field{
	{Name: "closing", Type: arrow.PrimitiveTypes.Int32}, // index in Run.Closings
	{Name: "point", Type: arrow.PrimitiveTypes.Int32},   // index in Run.Points
	{Name: "attenuation_db", Type: arrow.PrimitiveTypes.Float64, Metadata: unit("dB")},
	{Name: "limited", Type: arrow.FixedWidthTypes.Boolean},
	{Name: "floor_known", Type: arrow.FixedWidthTypes.Boolean},
	{Name: "headroom_db", Type: arrow.PrimitiveTypes.Float64, Nullable: true, Metadata: unit("dB")},
	{Name: "line", Type: arrow.PrimitiveTypes.Int32}, // of the (first) closed reading
	{Name: "open_db", Type: arrow.PrimitiveTypes.Float64, Nullable: true, Metadata: unit("dB")},
	{Name: "closed_db", Type: arrow.PrimitiveTypes.Float64, Nullable: true, Metadata: unit("dB")},
}, nil)

// Readings is the schema of a run's readings as they stand in the data, one row
// each, in the order of their files and lines. Labels that are not given are the
// empty text, numbers and dates that are not given are null.
//
// level is in level_unit, which is dBm or, relative to the generator, dB; written
// and written_unit keep what stood in the file (dBm, dBuV or dB). floor is what
// stood beside the reading, in level_unit. normalised_db = level - tx - gain.
// attenuation_db is filled, and the levels are null, where the data give
// attenuations; limited tells those that are at least the figure, and levels that
// are at most it. used is false for readings that a problem kept from use.
var Readings = arrow.NewSchema(readingFields(), nil)

func readingFields() []arrow.Field {
	text := func(name string) arrow.Field { return arrow.Field{Name: name, Type: label} }
	number := func(name, u string) arrow.Field {
		return arrow.Field{Name: name, Type: arrow.PrimitiveTypes.Float64, Nullable: true, Metadata: unit(u)}
	}
	day := func(name string) arrow.Field {
		return arrow.Field{Name: name, Type: arrow.FixedWidthTypes.Date32, Nullable: true}
	}
	fields := []arrow.Field{
		text("file"),
		{Name: "line", Type: arrow.PrimitiveTypes.Int32},
		{Name: "used", Type: arrow.FixedWidthTypes.Boolean},
		text("state"),
		{Name: "freq_hz", Type: arrow.PrimitiveTypes.Float64, Metadata: unit("Hz")},
		number("level", "dB"), text("level_unit"), number("written", "dB"), text("written_unit"),
		number("floor", "dB"), number("tx_dbm", "dBm"), number("gain_db", "dB"), number("normalised_db", "dB"),
		number("attenuation_db", "dB"), {Name: "limited", Type: arrow.FixedWidthTypes.Boolean},
		day("date"), day("installed"),
	}
	for _, c := range readingTexts {
		fields = append(fields, text(c.Name()))
	}
	return fields
}

// readingTexts are the columns of labels in Readings.
var readingTexts = func() []reading.Column {
	var columns []reading.Column
	for c := reading.Column(0); c < reading.Columns; c++ {
		if c.IsText() {
			columns = append(columns, c)
		}
	}
	return columns
}()
