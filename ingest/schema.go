package ingest

import "github.com/apache/arrow/go/v15/arrow"

// label is a dictionary-coded text column; group on its codes, not its strings.
var label = &arrow.DictionaryType{IndexType: arrow.PrimitiveTypes.Int32, ValueType: arrow.BinaryTypes.String}

func unit(u string) arrow.Metadata { return arrow.NewMetadata([]string{"unit"}, []string{u}) }

// Attenuation is the schema of paired readings: one row per closing and point,
// sweeps already averaged in dB.
//
//	attenuation_db = (level - tx - gain) open - (max(level, floor) - tx - gain) closed
//
// limited is true where the closed level stood less than the floor margin above
// the floor: the attenuation is at least the figure. headroom_db is open - floor
// - margin, the most this set-up can show at the point; null where no floor is
// known or where the data give attenuations. floor_known is false where nothing
// says whether the reading is clear of the floor.
var Attenuation = arrow.NewSchema([]arrow.Field{
	{Name: "closing", Type: arrow.PrimitiveTypes.Int32}, // index in Run.Closings
	{Name: "point", Type: arrow.PrimitiveTypes.Int32},   // index in Run.Points
	{Name: "attenuation_db", Type: arrow.PrimitiveTypes.Float64, Metadata: unit("dB")},
	{Name: "limited", Type: arrow.FixedWidthTypes.Boolean},
	{Name: "floor_known", Type: arrow.FixedWidthTypes.Boolean},
	{Name: "headroom_db", Type: arrow.PrimitiveTypes.Float64, Nullable: true, Metadata: unit("dB")},
	{Name: "line", Type: arrow.PrimitiveTypes.Int32}, // of the (first) closed reading
}, nil)
