package ingest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// A plainRow is one reading of a made-up run; NaN and "" are empty cells.
type plainRow struct {
	run, box, gasket, closing, sweep, state string
	mhz, level, floor, tx, gain             float64
}

func (r plainRow) csv() string {
	cell := func(v float64) string {
		if math.IsNaN(v) {
			return ""
		}
		return fmt.Sprint(v)
	}
	return strings.Join([]string{r.run, r.box, r.gasket, r.closing, r.sweep, r.state, cell(r.mhz), cell(r.level), cell(r.floor), cell(r.tx), cell(r.gain)}, ",") + "\n"
}

// made makes runs that have no problem but anything else: own open readings,
// repeats, sweeps, floors of every kind, gain and power recorded or not.
func made(r *rand.Rand) []plainRow {
	var rows []plainRow
	nan := math.NaN()
	maybe := func(p float64) bool { return r.Float64() < p }
	for run := range 1 + r.IntN(3) {
		recorded := maybe(.7)
		reading := func(box, gasket, closing, sweep, state string, mhz, level float64) plainRow {
			row := plainRow{fmt.Sprint("r", run), box, gasket, closing, sweep, state, mhz, math.Round(level*100) / 100, nan, nan, nan}
			if recorded {
				row.tx, row.gain = float64(5*r.IntN(3)), float64(10*r.IntN(4)-10)
			}
			return row
		}
		points := []float64{30, 100.5, 2400}[:1+r.IntN(3)]
		for _, f := range points {
			for k := range 1 + r.IntN(3) {
				rows = append(rows, reading("", "", "", fmt.Sprint("o", k), "open", f, -30+r.NormFloat64()/2))
			}
			for range r.IntN(3) {
				rows = append(rows, reading("", "", "", "", "floor", f, -100+r.NormFloat64()))
			}
		}
		for box := range 1 + r.IntN(3) {
			name := fmt.Sprint("B", box)
			for _, f := range points {
				for range r.IntN(2) {
					rows = append(rows, reading(name, []string{"", "G"}[r.IntN(2)], "", "", "floor", f, -95+r.NormFloat64()))
				}
			}
			for c := range 1 + r.IntN(3) {
				closing := fmt.Sprint("c", c)
				for _, f := range points {
					for range r.IntN(2) {
						rows = append(rows, reading([]string{"", name}[r.IntN(2)], "", closing, "", "open", f, -35+r.NormFloat64()/2))
					}
					for range r.IntN(2) {
						rows = append(rows, reading(name, "", closing, "", "floor", f, -90+r.NormFloat64()))
					}
					if maybe(.1) {
						continue
					}
					for s := range 1 + r.IntN(2) {
						row := reading(name, "G", closing, fmt.Sprint(s), "closed", f, -90+10*r.NormFloat64())
						if maybe(.3) {
							row.floor = -92
						}
						rows = append(rows, row)
					}
				}
			}
		}
	}
	return rows
}

// plainly pairs the rows by going through all of them for each, as one would on
// paper: mean open level less mean closed level, each less power and gain; the
// floor beside the reading, else the floor rows that name closing, box and gasket
// before those that name fewer, else the setting.
func plainly(rows []plainRow, setting float64) []string {
	zero := func(v float64) float64 {
		if math.IsNaN(v) {
			return 0
		}
		return v
	}
	average := func(v []float64) float64 {
		sum := 0.0
		for _, x := range v {
			sum += x
		}
		return sum / float64(len(v))
	}
	var out []string
	done := map[string]bool{}
	for _, c := range rows {
		key := fmt.Sprint(c.run, c.box, c.closing, c.mhz)
		if c.state != "closed" || done[key] {
			continue
		}
		done[key] = true
		var level, own, whole []float64
		floors := map[int][]float64{}
		best := 0
		for _, x := range rows {
			if x.run != c.run || x.mhz != c.mhz {
				continue
			}
			norm := x.level - zero(x.tx) - zero(x.gain)
			switch {
			case x.state == "closed" && x.box == c.box && x.closing == c.closing:
				level = append(level, norm)
				f, kind := setting-zero(x.gain)-zero(x.tx), 1
				for _, y := range rows {
					if y.run != c.run || y.mhz != c.mhz || y.state != "floor" || y.box != "" && y.box != c.box || y.closing != "" && y.closing != c.closing {
						continue
					}
					score := 2
					if y.closing != "" {
						score += 8
					}
					if y.box != "" {
						score += 2
					}
					if y.gasket != "" {
						score++
					}
					if score > kind {
						kind = score
					}
				}
				if kind > 1 {
					var at []float64
					for _, y := range rows {
						if y.run == c.run && y.mhz == c.mhz && y.state == "floor" && (y.box == "" || y.box == c.box) && (y.closing == "" || y.closing == c.closing) &&
							2+map[bool]int{true: 8}[y.closing != ""]+map[bool]int{true: 2}[y.box != ""]+map[bool]int{true: 1}[y.gasket != ""] == kind {
							at = append(at, y.level-zero(y.gain))
						}
					}
					f, kind = average(at)-zero(x.tx), 2
				}
				if !math.IsNaN(x.floor) {
					f, kind = x.floor-zero(x.gain)-zero(x.tx), 3
				}
				best = max(best, kind)
				floors[kind] = append(floors[kind], f)
			case x.state == "open" && x.closing == "":
				whole = append(whole, norm)
			case x.state == "open" && x.closing == c.closing && (x.box == "" || x.box == c.box):
				own = append(own, norm)
			}
		}
		open := average(whole)
		if len(own) > 0 {
			open = average(own)
		}
		closed, floor := average(level), average(floors[best])
		limited, shown := "", closed
		if closed < floor+6 {
			limited, shown = ">", max(closed, floor)
		}
		out = append(out, fmt.Sprintf("%s %s/%s@%g=%s%.6f of %.6f", c.run, c.box, c.closing, c.mhz, limited, open-shown, open-floor-6))
	}
	slices.Sort(out)
	return out
}

// TestAgainstPaper pairs made-up runs in the slowest and plainest way and
// compares. Readings within a hair of the margin may fall on either side, so the
// figures are rounded, and few enough to miss it.
func TestAgainstPaper(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	setting := -99.5
	opt := DefaultOptions()
	opt.FloorDBM, opt.KeepDrifted = &setting, true
	limited, pairs := 0, 0
	for n := range 150 {
		rows := made(r)
		r.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
		var text strings.Builder
		text.WriteString("run,box,gasket,closing,sweep,state,freq_mhz,level_dbm,floor_dbm,tx_dbm,gain_db\n")
		for _, row := range rows {
			text.WriteString(row.csv())
		}
		res := good(t, opt, text.String())
		var got []string
		for _, v := range res.runs {
			for _, x := range v.rows {
				c, mark := v.Closings[x.closing], ""
				if x.limited {
					mark = ">"
					limited++
				}
				got = append(got, fmt.Sprintf("%s %s/%s@%g=%s%.6f of %.6f", v.Label, c.Box, c.Label, v.Points[x.point].FreqHz/1e6, mark, x.attenuation, x.headroom))
			}
		}
		slices.Sort(got)
		want := plainly(rows, setting)
		pairs += len(want)
		if !slices.Equal(got, want) {
			for i := range max(len(got), len(want)) {
				if i >= len(got) || i >= len(want) || got[i] != want[i] {
					t.Fatalf("campaign %d, pair %d:\n%v\nwant\n%v\n%s", n, i, got[i:], want[i:], text.String())
				}
			}
		}
	}
	if pairs < 1000 || limited < pairs/10 || limited > pairs*9/10 {
		t.Errorf("%d pairs, %d limited: too few to tell", pairs, limited)
	}
}
