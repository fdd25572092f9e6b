package longcsv

import (
	"bytes"
	"context"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"sealbound/ingest/internal/sweeps"
	"sealbound/ingest/reading"
	"sealbound/ingest/record"
)

// campaign is a file of made-up runs.
func campaign(runs int) string {
	header, texts := sweeps.Made(runs)
	return header + strings.Join(texts, "")
}

// shuffledLines puts the rows under the header in no order.
func shuffledLines(text string) string {
	lines := strings.SplitAfter(text, "\n")
	rows := lines[1 : len(lines)-1]
	rand.New(rand.NewPCG(3, 4)).Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
	return strings.Join(lines, "")
}

func measure(b *testing.B, text string, once func(src *bytes.Reader)) {
	b.Helper()
	src := bytes.NewReader([]byte(text))
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		once(src)
	}
	b.ReportMetric(float64(strings.Count(text, "\n")*b.N)/b.Elapsed().Seconds(), "rows/s")
}

// BenchmarkScan splits text into lines, and into cells.
func BenchmarkScan(b *testing.B) {
	text := campaign(20)
	for _, bb := range []struct {
		name string
		scan func(r *record.Reader)
	}{
		{"lines", func(r *record.Reader) {
			for text := r.Lines(); text != nil; text = r.Lines() {
				r.Take(len(text), bytes.Count(text, []byte{'\n'}))
			}
		}},
		{"cells", func(r *record.Reader) {
			for r.Next() {
				r.Split(math.MaxInt)
			}
		}},
	} {
		b.Run(bb.name, func(b *testing.B) {
			var r record.Reader
			measure(b, text, func(src *bytes.Reader) {
				r.Reset(src, 0, src.Size(), 1, false)
				bb.scan(&r)
			})
		})
	}
}

// layouts are the ways in which the rows of a file may stand.
var layouts = []struct {
	name string
	lay  func(string) string
}{
	{"by run", func(text string) string { return text }},
	{"shuffled", shuffledLines},
	{"CRLF", func(text string) string { return strings.ReplaceAll(text, "\n", "\r\n") }},
	{"not ASCII", func(text string) string { return strings.ReplaceAll(text, "wool", "Wollgewebe, fein "[:10]+"ö") }},
	{"quoted", func(text string) string { return strings.ReplaceAll(text, "wool", `"wool"`) }},
	{"texts quoted", func(text string) string { return quotedCells(text, false) }},
	{"all quoted", func(text string) string { return quotedCells(text, true) }},
}

// BenchmarkIndex finds out which rows belong to which run.
func BenchmarkIndex(b *testing.B) {
	text := campaign(20)
	for _, l := range layouts {
		b.Run(l.name, func(b *testing.B) {
			measure(b, l.lay(text), func(src *bytes.Reader) {
				t, _, err := Open("x.csv", 0, src, src.Size())
				if err != nil {
					b.Fatal(err)
				}
				if _, err := t.Index(context.Background(), src, func(reading.Stretch) {}); err != nil {
					b.Fatal(err)
				}
			})
		})
	}
}

// BenchmarkCells turns the rows of one run after another into readings.
func BenchmarkCells(b *testing.B) {
	text := campaign(20)
	for _, l := range layouts {
		b.Run(l.name, func(b *testing.B) {
			text := l.lay(text)
			src := bytes.NewReader([]byte(text))
			t, _, err := Open("x.csv", 0, src, src.Size())
			if err != nil {
				b.Fatal(err)
			}
			var stretches []reading.Stretch
			if _, err := t.Index(context.Background(), src, func(s reading.Stretch) {
				if n := len(stretches); n > 0 && l.name == "shuffled" { // as one, in pieces that a run might have
					if last := &stretches[n-1]; last.To-last.From < 150_000 {
						last.To = s.To
						return
					}
				}
				stretches = append(stretches, s)
			}); err != nil {
				b.Fatal(err)
			}
			var batch reading.Batch
			measure(b, text, func(src *bytes.Reader) {
				for _, s := range stretches {
					batch.Reset()
					if err := t.Load(context.Background(), src, s, &batch); err != nil {
						b.Fatal(err)
					}
				}
			})
		})
	}
}
