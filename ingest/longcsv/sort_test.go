package longcsv

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"
	"unicode"

	"sealbound/ingest/reading"
)

// manyOdd stands in every third row.
const manyOdd = "x\x00y"

// takingTurns makes a file of rows of many runs in no order. odd stands in some of
// them; from row quiet on one run has them all.
func takingTurns(rows, runs int, odd string, quiet int) string {
	every := 973
	if odd == manyOdd {
		every = 3
	}
	random := rand.New(rand.NewPCG(8, uint64(runs)))
	var b strings.Builder
	b.WriteString("run,date,state,freq_mhz,level_dbm,remark\n")
	for i := range rows {
		run, state, remark := random.IntN(runs), "closed", "a remark"
		if i >= quiet {
			run = 7
		}
		if random.IntN(9) == 0 {
			state = "open"
		}
		if i%every == every/2 {
			remark = odd
		}
		fmt.Fprintf(&b, "run %d,2026-05-%02d,%s,%d.5,-%d,%s\n", run, 1+run%28, state, i%200, i%90, remark)
	}
	return b.String()
}

// placed are the lines of each run and date, by place.
func placed(t *testing.T, text string, piece int64, workers, blocks int) (rows string, count reading.Count, taken int) {
	t.Helper()
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(workers))
	src := bytes.NewReader([]byte(text))
	opened, problems, err := Open("x.csv", 0, src, int64(len(text)))
	if err != nil {
		t.Fatal(err)
	}
	if len(problems) > 0 {
		return "", count, 0
	}
	tab := opened.(*table)
	tab.piece = piece
	type place struct {
		at   int64
		line int
	}
	of, open := map[string][]place{}, map[string]bool{}
	name := func(s *reading.Stretch) string { return fmt.Sprintf("%q %v", s.Run, s.Date) }
	note := func(name string, from, to int64, line int) {
		for at := from; at < to; line++ {
			end := to
			if i := strings.IndexByte(text[at:to], '\n'); i >= 0 {
				end = at + int64(i) + 1
			}
			if strings.ContainsFunc(text[at:end], func(c rune) bool { return !unicode.IsSpace(c) && c != ',' && c != '"' }) { // to whom a blank line falls does not matter
				of[name] = append(of[name], place{at, line})
			}
			at = end
		}
	}
	stretches := 0
	add := func(s reading.Stretch) {
		open[name(&s)] = open[name(&s)] || s.Open
		note(name(&s), s.From, s.To, s.Line)
		if !s.GoesOn {
			stretches++
		}
	}
	if blocks == 0 {
		count, err = tab.Index(context.Background(), src, add)
	} else {
		count, err = tab.IndexSorted(context.Background(), src, add, func(b *reading.Block) bool {
			if taken == blocks {
				return false
			}
			taken++
			stretches += b.Stretches
			rest := b.Text
			for i := range b.Groups {
				g := &b.Groups[i]
				open[name(&g.Stretch)] = open[name(&g.Stretch)] || g.Open
				var turns reading.Turns
				turns.Begin(rest[:g.Size], b.Line)
				rest = rest[g.Size:]
				size := int64(0)
				for turns.More() {
					if err := turns.Next(); err != nil {
						t.Fatal(err)
					}
					row := string(turns.Head) + string(turns.Tail)
					to := turns.At + int64(len(row))
					if size == 0 && (turns.At != g.From || to != g.To) {
						t.Fatalf("the first rows of a group are said to be at %d-%d, not %d-%d", g.From, g.To, turns.At, to)
					}
					if text[turns.At:to] != row {
						t.Fatalf("at %d stands %q, not %q", turns.At, text[turns.At:to], row)
					}
					note(name(&g.Stretch), turns.At, to, turns.Line)
					size += int64(len(row))
				}
				if size != g.Bytes {
					t.Fatalf("%d bytes, said to be %d", size, g.Bytes)
				}
			}
			if len(rest) > 0 {
				t.Fatalf("%d bytes belong to no group", len(rest))
			}
			return true
		})
	}
	if err != nil {
		t.Fatal(err)
	}
	names := make([]string, 0, len(of))
	for name := range of {
		names = append(names, name)
	}
	slices.Sort(names)
	var b strings.Builder
	for _, name := range names {
		list := of[name]
		slices.SortFunc(list, func(a, b place) int { return int(a.at - b.at) })
		fmt.Fprintln(&b, name, open[name], list)
	}
	return fmt.Sprintf("%d stretches\n%s", stretches, b.String()), count, taken
}

// Whether rows are sorted while they are looked for, by how many, and up to where, does
// not change which rows belong to which run.
func TestSorted(t *testing.T) {
	const rows = 24_000
	for name, odd := range map[string]string{
		"plain":                      "nothing",
		"not ASCII":                  "Größe",
		"quotes":                     `"a, b"`,
		"a line end in quotes":       "\"a\nb\"",
		"a quote not closed":         `"a`,
		"CR":                         "a\r",
		"a zero byte":                "\x00",
		"many rows that are no rows": manyOdd,
		"a short row":                "nothing\nrun 3,2026-05-04",
		"blank lines":                "nothing\n\n\n",
		"rows without a run":         "nothing\n,,closed,3,-4,",
		"rows that are no rows":      "nothing\n\"" + strings.Repeat("x", 90) + "\n",
		"a line too long":            strings.Repeat("long ", 1<<18),
		"a row of several sizes":     strings.Repeat("long ", 1<<13),
	} {
		for _, runs := range []int{12, 3000} {
			text := takingTurns(rows, runs, odd, rows*4/5)
			want, wantCount, _ := placed(t, text, 1<<17, 1, 0)
			for _, c := range []struct{ workers, blocks int }{{1, 1 << 30}, {2, 1 << 30}, {3, 2}} {
				got, count, taken := placed(t, text, 1<<17, c.workers, c.blocks)
				if got != want || count != wantCount {
					t.Errorf("%s, %d runs, %d workers, up to %d blocks: %d taken, %+v, not %+v; other rows:\n%s", name, runs, c.workers, c.blocks, taken, count, wantCount, firstDifference(got, want))
				}
				if taken == 0 && name != "a line too long" || taken > c.blocks {
					t.Errorf("%s, %d runs: %d blocks taken", name, runs, taken)
				}
			}
		}
	}
}

func firstDifference(got, want string) string {
	a, b := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return fmt.Sprintf("%.300s\n%.300s", a[i], b[i])
		}
	}
	return fmt.Sprintf("%d and %d runs", len(a), len(b))
}

func FuzzSorted(f *testing.F) {
	defer func(n int) { turnsLeast = n }(turnsLeast)
	turnsLeast = 8
	for _, odd := range []string{"nothing", `"a, b"`, "\"a\nb\"", `"a`, "a\r", "\x00", "x\nrun 3,2026-05-04", "\n\n\n", "x\n,,closed,3,-4,", `"a"b`, manyOdd} {
		f.Add([]byte(takingTurns(80, 5, odd, 60)), byte(7), byte(3))
		f.Add([]byte(takingTurns(60, 40, odd, 90)), byte(9), byte(90))
	}
	f.Fuzz(func(t *testing.T, data []byte, bits, blocks byte) {
		text := string(data)
		piece := int64(64) << (bits % 6)
		want, wantCount, _ := placed(t, text, piece, 1, 0)
		for workers := 1; workers <= 3; workers++ {
			if got, count, _ := placed(t, text, piece, workers, 1+int(blocks)); got != want || count != wantCount {
				t.Errorf("%d workers, pieces of %d bytes, up to %d blocks: %+v, not %+v; other rows:\n%s", workers, piece, 1+int(blocks), count, wantCount, firstDifference(got, want))
			}
		}
	})
}
