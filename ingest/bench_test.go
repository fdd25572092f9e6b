package ingest

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow/memory"

	"sealbound/ingest/internal/sweeps"
)

// perRow adds to a benchmark what it took for each row of data.
func perRow(b *testing.B, rows, bytes int) {
	b.Helper()
	b.ReportMetric(float64(rows)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
	b.SetBytes(int64(bytes))
	b.ReportAllocs()
}

// BenchmarkRead reads and pairs a campaign: about 200,000 rows with everything that
// a file may hold, and 88,000 of the plainest kind, laid out in several ways.
func BenchmarkRead(b *testing.B) {
	header, runs := sweeps.Made(40)
	plain := header + strings.Join(runs, "")
	mixed := strings.SplitAfter(strings.Join(runs, ""), "\n")
	rand.New(rand.NewPCG(3, 4)).Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
	many := map[string]string{}
	for i, run := range runs {
		many[fmt.Sprintf("%d.csv", i)] = header + run
	}
	one := func(text string) map[string]string { return map[string]string{"data.csv": text} }
	for _, bb := range []struct {
		name  string
		files map[string]string
		omit  bool
	}{
		{"everything", one(campaign(87, 10, 100)), false},
		{"everything, without readings", one(campaign(87, 10, 100)), true},
		{"plain", one(plain), true},
		{"plain, shuffled", one(header + strings.Join(mixed, "")), true},
		{"plain, in many files", many, true},
	} {
		b.Run(bb.name, func(b *testing.B) {
			opt := DefaultOptions()
			opt.OmitReadings = bb.omit
			dir := folder(b, bb.files)
			rows, size := 0, 0
			for _, text := range bb.files {
				rows, size = rows+strings.Count(text, "\n")-1, size+len(text)
			}
			for b.Loop() {
				if _, err := Read(context.Background(), []string{dir}, opt, func(*Run) error { return nil }); err != nil {
					b.Fatal(err)
				}
			}
			perRow(b, rows, size)
		})
	}
}

// BenchmarkPairing pairs the readings of one run, and writes the result as a record.
func BenchmarkPairing(b *testing.B) {
	header, runs := sweeps.Made(1)
	rows := strings.Split(strings.TrimSpace(runs[0]), "\n")
	mixed := append([]string(nil), rows...)
	rand.New(rand.NewPCG(3, 4)).Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
	floors := append([]string(nil), rows...)
	for _, row := range rows[:201] {
		floors = append(floors, strings.Replace(strings.Replace(row, ",open,", ",floor,", 1), ",-", ",-1", 1))
	}
	for _, bb := range []struct {
		name string
		rows []string
	}{{"by sweep", rows}, {"shuffled", mixed}, {"floor rows", floors}} {
		b.Run(bb.name, func(b *testing.B) {
			path := filepath.Join(folder(b, map[string]string{"data.csv": header + strings.Join(bb.rows, "\n") + "\n"}), "data.csv")
			opt := DefaultOptions()
			r := newReader(opt, 2)
			defer r.close()
			found, err := find([]string{path})
			if err != nil {
				b.Fatal(err)
			}
			if err := r.index(context.Background(), found); err != nil {
				b.Fatal(err)
			}
			r.plan.settle()
			w := worker{reader: r}
			if err := w.load(context.Background(), r.plan.runs[0], &w.batch); err != nil {
				b.Fatal(err)
			}
			p := &w.pairing
			p.opt, p.b, p.label, p.own, p.notes = &w.opt, &w.batch, "run", w.batch.Len(), &notes{}
			p.where, p.paths = func(int32) string { return "" }, func(int32) string { return "" }
			for b.Loop() {
				if err := p.run(context.Background(), nil); err != nil {
					b.Fatal(err)
				}
				drift, at := p.drift()
				p.result(r.plan.runs[0], "run", drift, at)
				attenuationRecord(memory.DefaultAllocator, p.pairs, w.batch.Line).Release()
			}
			if len(p.pairs) != 2010 {
				b.Fatal(len(p.pairs), "pairs")
			}
			perRow(b, len(bb.rows), len(bb.rows)*len(rows[300]))
		})
	}
}
