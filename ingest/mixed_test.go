package ingest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/apache/arrow/go/v15/arrow/array"
)

// shuffled is a campaign in a file large enough to be copied, its rows in no order.
func shuffled(spoil func(row int, text string) string) string {
	all := strings.SplitAfter(campaign(40, 10, 20), "\n")
	header, rows := all[0], all[1:len(all)-1]
	rand.New(rand.NewPCG(3, 4)).Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
	var b strings.Builder
	b.WriteString(header)
	for i, row := range rows {
		b.WriteString(spoil(i, row))
	}
	return b.String()
}

// A large file in which runs take turns is read by way of a copy; without room for
// one it gives the same: readings in the order of their lines, problems with their
// places, notes.
func TestMixed(t *testing.T) {
	instead := func(every int, with string) func(int, string) string {
		return func(i int, row string) string {
			if i%every == every-1 {
				return strings.Replace(row, ",closed,", with, 1)
			}
			return row
		}
	}
	for name, spoil := range map[string]func(int, string) string{
		"good":              func(_ int, row string) string { return row },
		"bad states":        instead(97, ",shut,"),
		"quotes":            instead(50, `,"closed",`),
		"line ends":         instead(50, ",\"closed\n\","),
		"quotes not closed": instead(211, `,"closed,`),
		"returns":           instead(211, ",clo\rsed,"),
		"not ASCII":         instead(97, ",geschloßen,"),
		"not UTF-8":         instead(97, ",geschlo\xdfen,"),
		"CRLF":              func(_ int, row string) string { return strings.TrimSuffix(row, "\n") + "\r\n" },
		"blank lines":       func(_ int, row string) string { return row + "\n" },
		"a long run": func(i int, row string) string {
			if i == 12000 {
				var b strings.Builder
				for sweep := range 100000 {
					fmt.Fprintf(&b, "run 3,2026-01-04,B0,wool,f1,2025-12-01,11,%d,closed,30,door,-59,0,30,R1,20\n", sweep)
				}
				return b.String()
			}
			return row
		},
	} {
		t.Run(name, func(t *testing.T) {
			text := shuffled(spoil)
			if len(text) <= cacheFile {
				t.Fatal("too small to be copied")
			}
			path := filepath.Join(folder(t, map[string]string{"data.csv": text}), "data.csv")
			opt := DefaultOptions()
			opt.SkipBadRows = true
			one := func() (string, *Summary) {
				var b strings.Builder
				sum, err := Read(context.Background(), []string{path}, opt, func(r *Run) error {
					lines := r.Readings.Column(1).(*array.Int32).Int32Values()
					for i, line := range lines {
						if i > 0 && line <= lines[i-1] {
							t.Fatalf("run %q: line %d after %d", r.Label, line, lines[i-1])
						}
					}
					fmt.Fprintln(&b, r.Label, r.Closings, r.Points, r.Reference, r.Counts, lines, r.Readings.Column(5), r.Attenuation.Column(2))
					return nil
				})
				if err != nil {
					t.Fatal(err)
				}
				fmt.Fprintln(&b, sum.Notes, sum.Inputs, sum.Omitted)
				for _, p := range sum.Problems {
					fmt.Fprintln(&b, p)
				}
				return b.String(), sum
			}
			copied, sum := one()
			t.Setenv("TMPDIR", filepath.Join(t.TempDir(), "missing"))
			if without, _ := one(); without != copied {
				t.Errorf("with a copy:\n%.2000s\nwithout:\n%.2000s", copied, without)
			}
			if notes := strings.Join(sum.Notes, " "); !strings.Contains(notes, "The rows of 40 runs and dates take turns in") {
				t.Errorf("notes: %q", notes)
			}
			lines := strings.Split(text, "\n")
			for _, p := range sum.Problems {
				if p.Text != "" && p.Field != "" && !strings.HasPrefix(lines[p.Line-1][p.Column-1:], p.Text) {
					t.Errorf("%v: there stands %q", p, lines[p.Line-1][p.Column-1:])
				}
			}
		})
	}
}

// Whether a copy is made does not show in the figures.
func TestMixedAsSorted(t *testing.T) {
	want := good(t, DefaultOptions(), campaign(40, 10, 20))
	got := good(t, DefaultOptions(), shuffled(func(_ int, row string) string { return row }))
	want.sum.Notes, got.sum.Notes = nil, nil
	if shown(got) != shown(want) {
		t.Error("the order of rows shows")
	}
}

// inCopy is a copy of one block.
type inCopy struct {
	copyFile
	*strings.Reader
}

func (c inCopy) ReadAt(b []byte, at int64) (int, error) { return c.Reader.ReadAt(b, at) }

func copyOf(text string) *mixedCopy {
	return &mixedCopy{file: inCopy{nil, strings.NewReader(text)}, blocks: []*copied{{to: int64(len(text))}}}
}

// A copy that cannot be read is an error, and no result.
func TestMixedCopyLost(t *testing.T) {
	c := &cursor{extents: []span{{from: 0, to: 9}}}
	if err := c.next(copyOf("\x01\x01")); err == nil {
		t.Error("cut short: no error")
	}
	c = &cursor{extents: []span{{from: 0, to: 5}}}
	if err := c.next(copyOf("\x01\x01\x09\x00a")); err == nil {
		t.Error("changed: no error")
	}
	var bad *BadInput
	c = &cursor{extents: []span{{from: 0, to: 4}}}
	if err := c.next(copyOf("\x80\x80\x80\x80")); err == nil || errors.As(err, &bad) {
		t.Error("changed:", err)
	}
}

// A fullDisk takes only so much.
type fullDisk struct {
	copyFile
	room int64
}

func (f fullDisk) WriteAt(b []byte, at int64) (int, error) {
	if at+int64(len(b)) > f.room {
		return 0, errors.New("no space left")
	}
	return f.copyFile.WriteAt(b, at)
}

// Where a copy finds no room any more, what it has not taken is noted as standing
// where it stands, and no row is lost.
func TestMixedNoRoom(t *testing.T) {
	all := strings.SplitAfter(campaign(40, 60, 60), "\n")
	rand.New(rand.NewPCG(3, 4)).Shuffle(len(all)-2, func(i, j int) { all[i+1], all[j+1] = all[j+1], all[i+1] })
	path := filepath.Join(folder(t, map[string]string{"data.csv": strings.Join(all, "")}), "data.csv")
	spans := func(room int64) (text string, copied int64) {
		make := newCopy
		newCopy = func() (copyFile, error) {
			f, err := make()
			return fullDisk{f, room}, err
		}
		defer func() { newCopy = make }()
		r := newReader(DefaultOptions(), 2)
		defer r.close()
		cache := int64(0)
		src, err := openSource(context.Background(), path, nil, true, &cache)
		if err != nil {
			t.Fatal(err)
		}
		at, err := src.acquire()
		if err != nil {
			t.Fatal(err)
		}
		defer src.release()
		in := &file{path: path, source: src}
		r.files = append(r.files, in)
		if in.table, _, err = formats[0].open(path, 0, at, src.size); err != nil || in.table == nil {
			t.Fatal(err)
		}
		if _, err := r.indexTable(context.Background(), in, 0, at, origin{}); err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		for _, g := range r.plan.order {
			for _, x := range g.parts {
				list := x.rows.appendTo(nil)
				if x.inCopies != nil {
					c := cursor{extents: x.extents.appendTo(nil)}
					for err := c.next(in.copy); !c.end; err = c.next(in.copy) {
						if err != nil {
							t.Fatal(err)
						}
						s := &c.turns
						list = append(list, span{0, s.Line, s.At, s.At + int64(len(s.Head)+len(s.Tail))})
					}
				}
				inOrder(list)
				n := 0
				for _, s := range list { // whether neighbours are one span or two does not matter
					if n > 0 && list[n-1].to == s.from {
						list[n-1].to = s.to
					} else {
						list[n] = s
						n++
					}
				}
				fmt.Fprintln(&b, g.label, list[:n])
			}
		}
		return b.String(), in.copy.size
	}
	without, none := spans(0)
	for _, room := range []int64{1 << 20, 1 << 40} {
		if got, size := spans(room); size == 0 || size > room || none != 0 || got != without {
			t.Errorf("room for %d bytes, %d copied: rows stand elsewhere than without a copy", room, size)
		}
	}
	if n := strings.Count(without, "\n"); n != 40 {
		t.Errorf("%d runs", n)
	}
}

// Whoever asks for extents in whatever order, from several goroutines, gets what was
// written.
func TestMixedCopyReady(t *testing.T) {
	f := &file{}
	defer func() { f.copy.close() }()
	random := rand.New(rand.NewPCG(5, 6))
	var text []byte
	type extent struct{ from, to int64 }
	var all []extent
	for range 30 {
		var block []byte
		for range 400 {
			from := int64(len(text) + len(block))
			for range 1 + random.IntN(900) {
				block = append(block, byte(random.Uint32()))
			}
			all = append(all, extent{from, int64(len(text) + len(block))})
		}
		text = append(text, block...)
		if _, ok := f.copyTo(block); !ok {
			t.Fatal("not written")
		}
	}
	var running sync.WaitGroup
	for w := range 4 {
		running.Add(1)
		go func() {
			defer running.Done()
			random := rand.New(rand.NewPCG(7, uint64(w)))
			for n := range 2 * len(all) {
				i := n/30%400 + n%30*400 // an extent of each block in turn
				if n%7 == w {
					i = random.IntN(len(all))
				}
				x := all[i]
				b := make([]byte, x.to-x.from)
				if err := f.copy.read(b, x.from); err != nil || !bytes.Equal(b, text[x.from:x.to]) {
					t.Errorf("extent %d: %v", i, err)
					return
				}
			}
		}()
	}
	running.Wait()
}
