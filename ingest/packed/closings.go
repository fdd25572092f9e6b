package packed

import (
	"io"

	"sealbound/ingest/columnar"
	"sealbound/ingest/reduced"
)

// WriteClosings writes a closing-level table as a Parquet file, or as an Arrow stream.
func WriteClosings(to io.Writer, rows *reduced.Rows, side []Side, stream bool) error {
	var l Layout
	meta := l.meta(reduced.Kind, side)
	return reduced.Write(rows, func(fields []columnar.Field) (columnar.Writer, error) {
		if stream {
			return columnar.NewStreamWriter(to, fields, meta, rows.Len())
		}
		return columnar.NewParquetWriter(to, fields, meta)
	})
}
