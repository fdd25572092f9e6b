package ingest

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sealbound/ingest/internal/sweeps"
)

// BenchmarkReadPacked reads and pairs 440,000 plain rows as CSV and packed.
// SEALBOUND_READ names another file to read in their place, such as the yardstick's.
func BenchmarkReadPacked(b *testing.B) {
	paths := map[string]string{"file": os.Getenv("SEALBOUND_READ")}
	if paths["file"] == "" {
		header, runs := sweeps.Made(200)
		source := folder(b, map[string]string{"data.csv": header + strings.Join(runs, "")})
		paths = map[string]string{"csv": filepath.Join(source, "data.csv"), "parquet": packTo(b, "x.parquet", source), "arrow": packTo(b, "x.arrow", source)}
	}
	for name, path := range paths {
		b.Run(name, func(b *testing.B) {
			opt := DefaultOptions()
			opt.OmitReadings = true
			rows := 0
			for b.Loop() {
				sum, err := Read(context.Background(), []string{path}, opt, func(*Run) error { return nil })
				if err != nil {
					b.Fatal(err)
				}
				rows = sum.Inputs[0].Used
			}
			b.ReportMetric(float64(rows)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
		})
	}
}
