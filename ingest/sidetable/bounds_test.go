package sidetable

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"sealbound/ingest/reading"
)

// A side table that does not fit into memory is refused in words.
func TestTooLarge(t *testing.T) {
	defer func(rows int, size int64) { mostRows, mostBytes = rows, size }(mostRows, mostBytes)
	text := []byte("box,gasket\na,wool\nb,wool\nc,wool\n")
	for _, tt := range []struct {
		rows int
		size int64
		want string
	}{{3, 100, ""}, {2, 100, "it has more than 2 rows"}, {3, 10, "it is larger than 0 MB"}} {
		mostRows, mostBytes = tt.rows, tt.size
		var tables Tables
		_, _, err := tables.Read(context.Background(), "boxes", "boxes.csv", bytes.NewReader(text), int64(len(text)), &reading.Problems{})
		if tt.want == "" && err != nil || tt.want != "" && (err == nil || !strings.Contains(err.Error(), tt.want)) {
			t.Errorf("%d rows, %d bytes: %v, not %q", tt.rows, tt.size, err, tt.want)
		}
	}
}
