package study

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	madeup "sealbound/cmd/internal/campaign"
	"sealbound/cmd/internal/report"
	"sealbound/cmd/internal/spill"
)

// uneven writes a campaign in which points are missing, readings limited, and places
// several, one file a run.
func uneven(t *testing.T) string {
	t.Helper()
	o := madeup.DefaultOptions()
	o.Boxes, o.Controls, o.Sessions, o.Closings, o.Frequencies, o.Products, o.Positions = 3, 1, 3, 3, 7, 2, 2
	o.LoMHz, o.HiMHz, o.EveryDay = 20, 5000, 300
	o.MeanDB, o.FloorDBM, o.MissingShare, o.DroppedShare, o.OpenRepeats = 60, -97, 0.1, 0.1, 2
	o.Files = madeup.PerRun
	settings, layout, err := o.Settings()
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	if err := madeup.Write(folder, settings, layout, false); err != nil {
		t.Fatal(err)
	}
	return folder
}

// answers are all that the commands say of a folder.
func answers(t *testing.T, folder string, change func(*Settings)) []byte {
	t.Helper()
	var out bytes.Buffer
	ctx, paths := context.Background(), []string{folder}
	s := DefaultSettings()
	change(&s)
	document := func(name string) func(*report.Document, error) {
		return func(doc *report.Document, err error) {
			fmt.Fprintln(&out, name)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if err := report.JSON(&out, doc); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
	}
	for _, bands := range []string{"each", "low=10-400,high=100-6000"} {
		s.Bands = bands
		document("judge " + bands)(Judge(ctx, paths, s))
	}
	s.Bands = "itu"
	all := s
	all.By, all.AllDates, all.Family = []string{"gasket"}, true, "holm"
	document("judge all dates")(Judge(ctx, paths, all))
	document("spread")(Spread(ctx, paths, all))
	document("wear")(Wear(ctx, paths, s))
	document("compare")(Compare(ctx, paths, s))
	document("check")(Check(ctx, paths, s))
	return out.Bytes()
}

// Neither how much is held in memory nor the number of processors shows in any answer,
// and no file is left behind.
func TestMemoryNeverShows(t *testing.T) {
	for _, folder := range []string{"../../../testdata/demo", uneven(t)} {
		want := answers(t, folder, func(*Settings) {})
		temporary := t.TempDir()
		t.Setenv("TMPDIR", temporary)
		for _, m := range []memory{{1, 1}, {3000, 40}} {
			got := answers(t, folder, func(s *Settings) { s.memory = m })
			if !bytes.Equal(got, want) {
				t.Errorf("%s with %+v: %s", folder, m, firstDifference(string(want), string(got)))
			}
		}
		before := runtime.GOMAXPROCS(1)
		if got := answers(t, folder, func(s *Settings) { s.memory = memory{2000, 60} }); !bytes.Equal(got, want) {
			t.Errorf("%s with one processor: %s", folder, firstDifference(string(want), string(got)))
		}
		runtime.GOMAXPROCS(before)
		if left, err := os.ReadDir(temporary); err != nil || len(left) > 0 {
			t.Errorf("left behind: %v, %v", left, err)
		}
	}
}

// The page and the sheet come from a campaign that was spilled, too.
func TestReportFromFile(t *testing.T) {
	page := func(m memory) []byte {
		s := DefaultSettings()
		s.memory = m
		var out bytes.Buffer
		ctx, paths := context.Background(), []string{"../../../testdata/demo"}
		doc, err := Report(ctx, paths, ReportSettings{Settings: s})
		if err != nil {
			t.Fatal(err)
		}
		if err := report.HTML(&out, doc); err != nil {
			t.Fatal(err)
		}
		s.Box = []string{"Osmere"}
		sheet, err := BoxSheet(ctx, paths, ReportSettings{Settings: s})
		if err != nil {
			t.Fatal(err)
		}
		if err := report.SheetHTML(&out, sheet); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
	if want, got := page(memory{}), page(memory{500, 20}); !bytes.Equal(got, want) {
		t.Error(firstDifference(string(want), string(got)))
	}
}

// A temporary folder that cannot be used is told in one line, by every command, as
// something to mend.
func TestNoTemporaryFolder(t *testing.T) {
	t.Setenv("TMPDIR", filepath.Join(t.TempDir(), "gone"))
	s := DefaultSettings()
	s.memory = memory{100, 100}
	ctx, paths := context.Background(), []string{"../../../testdata/demo"}
	for name, f := range map[string]func() error{
		"judge": func() error { _, err := Judge(ctx, paths, s); return err },
		"check": func() error { _, err := Check(ctx, paths, s); return err },
		"report": func() error {
			_, err := Report(ctx, paths, ReportSettings{Settings: s})
			return err
		},
	} {
		err := f()
		var input *InputError
		var full *spill.Error
		if !errors.As(err, &input) || !errors.As(err, &full) || strings.Contains(err.Error(), "\n") || !strings.Contains(err.Error(), "TMPDIR") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// What is written to the store comes back, by ascending point: of closings that lack
// places, with some readings limited, and floors known for some. In run r both places
// have the frequency 100 MHz; for the campaign, place B has the slightly lower one of
// run q, and so comes before A.
func TestStoredReadings(t *testing.T) {
	const text = `run,state,box,gasket,closing,freq_mhz,position,level_dbm,floor_dbm
q,open,,,,99.99995,B,-30,
q,closed,c,foil,1,99.99995,B,-90,-110
r,open,,,,100,A,-20,
r,open,,,,100,B,-21,
r,open,,,,200,A,-22,
r,open,,,,200,B,-23,
r,closed,a,foil,1,100,A,-80,-110
r,closed,a,foil,1,100,B,-81,-110
r,closed,a,foil,1,200,A,-82,-85
r,closed,a,foil,1,200,B,-83,-110
r,closed,a,foil,2,100,A,-84,
r,closed,a,foil,2,100,B,-85,-111
r,closed,a,foil,2,200,A,-86,-111
r,closed,b,foil,1,200,B,-86,
`
	path := filepath.Join(t.TempDir(), "readings.csv")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, bytes := range []int64{1, 30, 1 << 20} {
		s := DefaultSettings()
		s.memory = memory{bytes, 100}
		c, err := read(context.Background(), []string{path}, s)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		var r readings
		for _, cl := range c.closings {
			if err := c.load(cl, &r); err != nil {
				t.Fatal(err)
			}
			for k, p := range r.point {
				got = append(got, fmt.Sprintf("%s %s %g/%s %g %v %v %g", cl.Box, cl.Label, c.points[p].FreqHz/1e6, c.points[p].Position, r.db[k], r.limited[k], r.floorKnown[k], r.headroomDB[k]))
			}
		}
		want := []string{
			"a 1 99.99995/B 60 false true 83", "a 1 100/A 60 false true 84", "a 1 200/A 60 true true 57", "a 1 200/B 60 false true 81",
			"a 2 99.99995/B 64 false true 84", "a 2 100/A 64 false false NaN", "a 2 200/A 64 false true 83",
			"b 1 200/B 63 false false NaN",
			"c 1 99.99995/B 60 false true 74",
		}
		if !slices.Equal(got, want) {
			t.Errorf("%d bytes in memory:\n%s\nwant\n%s", bytes, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		open, err := c.open(1)
		if err != nil || len(open) != 1 || !slices.Equal(open[0], []float64{-20, -21, -22, -23}) {
			t.Errorf("open levels %v, %v", open, err)
		}
		c.close()
	}
}

// Progress tells of reading first and of computing then, each up to its end.
func TestStages(t *testing.T) {
	type step struct {
		stage       string
		done, total int64
	}
	var mu sync.Mutex
	var steps []step
	s := DefaultSettings()
	s.Progress = func(stage string, done, total int64) {
		mu.Lock()
		defer mu.Unlock()
		steps = append(steps, step{stage, done, total})
	}
	if _, err := Judge(context.Background(), []string{"../../../testdata/demo"}, s); err != nil {
		t.Fatal(err)
	}
	for i, x := range steps {
		if x.done > x.total || i > 0 && x.stage == steps[i-1].stage && x.done < steps[i-1].done || i > 0 && x.stage == "reading" && steps[i-1].stage != "reading" {
			t.Errorf("step %d: %+v after %+v", i, x, steps[max(i, 1)-1])
		}
		if last := i+1 == len(steps) || steps[i+1].stage != x.stage; last && x.stage == "reading" && x.done != x.total {
			t.Errorf("reading ends at %d of %d", x.done, x.total)
		}
	}
	if n := len(steps); n < 10 || steps[0].stage != "reading" || steps[n-1].stage != "computing" {
		t.Errorf("%d steps, from %+v to %+v", n, steps[0], steps[n-1])
	}
}

// Closings of a run that have the same headroom share it in the store.
func TestSharedHeadroom(t *testing.T) {
	c, err := read(context.Background(), []string{"../../../testdata/demo"}, DefaultSettings())
	if err != nil {
		t.Fatal(err)
	}
	defer c.close()
	at := make(map[int64]bool)
	readings := 0
	for _, cl := range c.closings {
		at[cl.block.headroom] = true
		readings += int(cl.block.readings)
	}
	if len(at) >= len(c.closings)/2 {
		t.Errorf("%d closings have %d headrooms in the store", len(c.closings), len(at))
	}
	if most := int64(14 * readings); c.store.Size() > most {
		t.Errorf("%d readings take %d bytes", readings, c.store.Size())
	}
}

// Closings whose label alone differs are kept apart; equal ones in all that is compared
// stay in the order in which they were read.
func TestCanonicalOrder(t *testing.T) {
	c := &campaign{}
	date := func(day string) time.Time {
		d, err := time.Parse(time.DateOnly, day)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	at := &sitting{context: noContext}
	o := []*occasion{{sitting: at, Box: "b"}, {sitting: at, Box: "a", Installed: date("2030-01-01")}, {sitting: at, Box: "a", Installed: date("2031-01-01")}, {sitting: at, Box: "a", Gasket: "x"}}
	for i, name := range []string{"2", "2", "1", "1", "10", "2"} {
		c.closings = append(c.closings, &closing{occasion: o[[]int{0, 1, 1, 2, 2, 3}[i]], Label: name, Line: int32(i)})
	}
	c.order(slices.Clone(o))
	var got []int32
	for _, cl := range c.closings {
		got = append(got, cl.Line)
	}
	if want := []int32{2, 3, 1, 4, 5, 0}; !slices.Equal(got, want) {
		t.Errorf("order %v, want %v", got, want)
	}
}

// A cell larger than the room enters alone, and a closed room lets nobody in.
func TestRoom(t *testing.T) {
	r := newRoom(10)
	if !r.take(6) || !r.take(4) {
		t.Fatal("there is room for 10")
	}
	entered := make(chan bool)
	go func() { entered <- r.take(50) }()
	select {
	case <-entered:
		t.Fatal("50 entered a room of 10 that is in use")
	default:
	}
	r.give(6)
	r.give(4)
	if !<-entered {
		t.Error("50 must enter alone")
	}
	go func() { entered <- r.take(1) }()
	r.close()
	if <-entered {
		t.Error("a closed room let 1 in")
	}
}
