package longcsv

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"runtime"
	"slices"
	"strings"
	"testing"

	"sealbound/ingest/reading"
)

// piece is small here, so that few rows make several.
const piece = 1 << 16

// big makes a file of several pieces. every tells how many rows a stretch has, and
// odd what stands in the rows whose number it divides.
func big(every int, odd string) string {
	var b strings.Builder
	b.WriteString("state,run,date,freq_mhz,level_dbm,remark\n")
	for i := 0; b.Len() < 3*piece; i++ {
		state := "closed"
		if i%50 < 5 {
			state = "open"
		}
		remark := "a remark that makes the row longer than its figures are"
		if i%973 == 700 {
			remark = odd
		}
		fmt.Fprintf(&b, "%s,run %d,2026-05-%02d,%d.5,-%d,%s\n", state, i/every, 1+i/every%28, i%200, i%90, remark)
		if i%101 == 0 {
			b.WriteString("\n")
		}
	}
	return b.String()
}

func index(t *testing.T, text string, workers int) (list []string, count reading.Count) {
	t.Helper()
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(workers))
	src := bytes.NewReader([]byte(text))
	tab, problems, err := Open("x.csv", 0, src, int64(len(text)))
	if err != nil || len(problems) > 0 {
		t.Fatal(err, problems)
	}
	tab.(*table).piece = piece
	open := map[int]bool{}
	count, err = tab.Index(context.Background(), src, func(s reading.Stretch) {
		s.Open = s.Open || open[s.Key]
		open[s.Key] = s.Open
		list = append(list, fmt.Sprintf("%s %v %v %d-%d line %d", s.Run, s.Date, s.Open, s.From, s.To, s.Line))
	})
	if err != nil {
		t.Fatal(err)
	}
	return list, count
}

// Whether a large file is indexed in pieces or in one go must not show.
func TestPieces(t *testing.T) {
	for name, odd := range map[string]string{
		"plain":                 "nothing",
		"not ASCII":             "Größe",
		"a zero byte":           "x\x00y",
		"quotes":                `"a, b"`,
		"a line end in quotes":  "\"a\nb\"",
		"a quote not closed":    `"a`,
		"CR":                    "a\r",
		"a very long line":      strings.Repeat("long ", piece/4),
		"a line of two pieces":  strings.Repeat("long ", piece/2),
		"text behind the quote": `"a"b`,
	} {
		for _, every := range []int{1, 37, 1 << 30} {
			if every != 37 && name != "plain" && name != "a line end in quotes" {
				continue
			}
			text := big(every, odd)
			want, wantCount := index(t, text, 1)
			got, gotCount := index(t, text, 2)
			if !slices.Equal(got, want) || gotCount != wantCount {
				t.Errorf("%s, stretches of %d rows: %d stretches, %+v; in one go %d, %+v", name, every, len(got), gotCount, len(want), wantCount)
				for i := range min(len(got), len(want)) {
					if got[i] != want[i] {
						t.Errorf("%s, not %s", got[i], want[i])
						break
					}
				}
			}
		}
	}
}

func TestPiecesCancelled(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(2))
	text := big(37, "nothing")
	src := bytes.NewReader([]byte(text))
	tab, _, err := Open("x.csv", 0, src, int64(len(text)))
	if err != nil {
		t.Fatal(err)
	}
	tab.(*table).piece = piece
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := tab.Index(ctx, src, func(reading.Stretch) {}); err != context.Canceled {
		t.Errorf("%v", err)
	}
}

type cutShort struct{ io.ReaderAt }

func (c cutShort) ReadAt(b []byte, off int64) (int, error) {
	if off+int64(len(b)) > 2*piece {
		return 0, io.EOF
	}
	return c.ReaderAt.ReadAt(b, off)
}

func TestPiecesCutShort(t *testing.T) {
	text := big(37, "nothing")
	src := bytes.NewReader([]byte(text))
	tab, _, err := Open("x.csv", 0, src, int64(len(text)))
	if err != nil {
		t.Fatal(err)
	}
	tab.(*table).piece = piece
	for _, workers := range []int{1, 2} {
		old := runtime.GOMAXPROCS(workers)
		if _, err := tab.Index(context.Background(), cutShort{src}, func(reading.Stretch) {}); err != io.ErrUnexpectedEOF {
			t.Errorf("with %d: %v", workers, err)
		}
		runtime.GOMAXPROCS(old)
	}
}
