package study

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"sealbound/cmd/internal/report"
)

// raggedRuns are runs at six frequencies, in which some closings lack points, have
// limited readings or another floor, and the others are complete.
func raggedRuns(t *testing.T) string {
	rng := rand.New(rand.NewPCG(21, 22))
	var text strings.Builder
	text.WriteString("run,state,box,gasket,closing,freq_mhz,level_dbm,floor_dbm\n")
	for run := range 6 {
		for f := range 6 {
			fmt.Fprintf(&text, "r%d,open,,,,%d,%.2f,\n", run, 10+f*10, -20-rng.Float64())
		}
		for closing := range 5 {
			lacks, odd := rng.IntN(12), rng.IntN(9)
			for f := range 6 {
				if f == lacks {
					continue
				}
				floor := "-110"
				if f == odd {
					floor = []string{"-85", "-109", ""}[rng.IntN(3)]
				}
				fmt.Fprintf(&text, "r%d,closed,b%d,foil,%d,%d,%.2f,%s\n", run, run%2, closing, 10+f*10, -80-4*rng.Float64(), floor)
			}
		}
	}
	path := filepath.Join(t.TempDir(), "readings.csv")
	if err := os.WriteFile(path, []byte(text.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// A cell holds every reading of its closings in its band, whether its columns are made
// anew or used again, shared or its own; each closing is read back here on its own.
func TestCellsHoldTheirReadings(t *testing.T) {
	c, err := read(context.Background(), []string{raggedRuns(t)}, DefaultSettings())
	if err != nil {
		t.Fatal(err)
	}
	defer c.close()
	var layers []layer
	for _, edges := range [][2]int{{0, 6}, {0, 3}, {3, 6}, {2, 3}} {
		inside := make([]bool, len(c.points))
		for p := edges[0]; p < edges[1]; p++ {
			inside[p] = true
		}
		layers = append(layers, layer{report.Band{Name: fmt.Sprint(edges)}, inside})
	}
	apart := slices.Clone(layers[0].inside) // points in two stretches
	apart[2] = false
	layers = append(layers, layer{report.Band{Name: "apart"}, apart})
	reading := func(p int32, db float64, limited, known bool, headroom float64) string {
		return fmt.Sprint(c.points[p].FreqHz, math.Float64bits(db), limited, known, headroom)
	}
	shared, own := 0, 0
	for range 3 {
		for x, err := range c.each(groupBy(c.closings, []string{"box", "run"}), layers, target{flatDB: 50}) {
			if err != nil {
				t.Fatal(err)
			}
			var want, got []string
			l := layers[slices.IndexFunc(layers, func(l layer) bool { return l.band.Name == x.band.Name })]
			for _, cl := range x.closings {
				var r readings
				if err := c.load(cl, &r); err != nil {
					t.Fatal(err)
				}
				for k, p := range r.point {
					if l.inside[p] {
						want = append(want, cl.Run+cl.Label+" "+reading(p, r.db[k], r.limited[k], r.floorKnown[k], r.headroomDB[k]))
					}
				}
			}
			d := x.data
			for i, k := range d.Closing {
				cl := x.closings[k]
				got = append(got, cl.Run+cl.Label+" "+reading(x.points[d.Point[i]], d.DB[i], d.Limited[i], d.FloorKnown[i], d.HeadroomDB[i]))
			}
			if !slices.Equal(got, want) || len(got) == 0 {
				t.Fatalf("%s, band %s:\n%s\nwant\n%s", x.group.name(), x.band.Name, strings.Join(got, "\n"), strings.Join(want, "\n"))
			}
			if x.alike != nil {
				shared++
			} else {
				own++
			}
			c.shelf.give(x.data)
		}
	}
	if shared == 0 || own == 0 {
		t.Errorf("%d cells with shared codes, %d with their own", shared, own)
	}
}

func TestPatterns(t *testing.T) {
	known := patterns{}
	for _, size := range [][2]int{{3, 2}, {5, 2}, {2, 2}, {1, 70_000}, {4, 1}} {
		closing, point := known.of(size[0], size[1])
		if len(closing) != size[0]*size[1] || len(point) != len(closing) {
			t.Fatalf("%v: %d and %d codes", size, len(closing), len(point))
		}
		for i := range closing {
			if int(closing[i]) != i/size[1] || int(point[i]) != i%size[1] {
				t.Fatalf("%v: reading %d is of closing %d, point %d", size, i, closing[i], point[i])
			}
		}
	}
	if len(known[2].closing) != 10 || known[70_000].closing != nil {
		t.Error("the larger of two patterns is kept, and none beyond the limit")
	}
}

// What lies on a shelf is bounded in readings, not in sets alone: where each cell is a
// little larger than the one before nothing of it is of use.
func TestShelfIsBounded(t *testing.T) {
	var s shelf
	for n := mostUnderWay / 4; n < 2*mostUnderWay; n += n / 25 {
		d := s.take(n)
		if cap(d.DB) < n || len(d.DB) != 0 {
			t.Fatalf("columns with room for %d of %d readings, %d in them", cap(d.DB), n, len(d.DB))
		}
		s.give(d)
		lies := 0
		for _, d := range s.free {
			lies += cap(d.DB)
		}
		if lies > mostUnderWay || lies != s.held {
			t.Fatalf("%d readings lie on the shelf, %d are told, %d at most", lies, s.held, mostUnderWay)
		}
	}
	for n := range 3 * mostShelved {
		s.give(s.take(100 + 300*n))
	}
	if len(s.free) > mostShelved || len(s.free) == 0 {
		t.Errorf("%d sets", len(s.free))
	}
	lies := s.free[0].DB[:1]
	if d := s.take(cap(lies)); &d.DB[:1][0] != &lies[0] {
		t.Error("columns that fit are not used again")
	}
}
