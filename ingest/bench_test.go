package ingest

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
)

// BenchmarkRead reads about 200,000 rows: runs of two open, a floor and twenty
// closed sweeps of 100 points.
func BenchmarkRead(b *testing.B) {
	text := campaign(87, 10, 100)
	rows := strings.Count(text, "\n") - 1
	path := filepath.Join(folder(b, map[string]string{"data.csv": text}), "data.csv")
	for _, bb := range []struct {
		name string
		omit bool
	}{{"all", false}, {"without readings", true}} {
		b.Run(bb.name, func(b *testing.B) {
			opt := DefaultOptions()
			opt.OmitReadings = bb.omit
			b.SetBytes(int64(len(text)))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Read(context.Background(), []string{path}, opt, func(*Run) error { return nil }); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(rows*b.N)/b.Elapsed().Seconds(), "rows/s")
		})
	}
}
