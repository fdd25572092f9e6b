package ingest

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// limitedRows makes up two runs of 40 points, the second of which is compared with the
// open readings of the first. What the column limited says, and the signs before levels,
// go with each other or not.
func limitedRows(r *rand.Rand) [][]string {
	rows := [][]string{{"run", "box", "gasket", "closing", "state", "freq_hz", "level_dbm", "floor_dbm", "limited", "reference"}}
	pick := func(list ...string) string { return list[r.IntN(len(list))] }
	db := func(from, to float64) string { return strconv.FormatFloat(from+(to-from)*r.Float64(), 'f', 2, 64) }
	for point := range 40 {
		rows = append(rows, []string{"a", "", "", "", "open", fmt.Sprint(1000 * (point + 1)), db(-31, -29), "", pick("", "no", "0", "False"), ""})
	}
	for _, run := range []string{"a", "b"} {
		for closing := range 3 {
			for point := range 40 {
				limited := pick("", "", "", "no", "yes", "YES", "1", "true", "0", "maybe", "-")
				sign := pick("", "", "", "", "", "<", "< ", "<=", "\u2264 ", ">")
				floor := pick("", db(-101, -99), db(-90, -80))
				reference := ""
				if run == "b" {
					reference = "a"
				}
				rows = append(rows, []string{run, "B", "G", fmt.Sprint(closing + 1), "closed", fmt.Sprint(1000 * (point + 1)), sign + db(-105, -70), floor, limited, reference})
			}
		}
	}
	return rows
}

// limitedByHand works the attenuations out with encoding/csv and strconv, one row after
// another: at least open - max(level, floor) where the level is a limit or less than
// 6 dB above the floor, else open - level. The last cell tells a limit, which alone may
// have a sign; without a floor only what is a limit is known to be one.
func limitedByHand(t *testing.T, text string) (lines []string, refused int) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	open := map[string]float64{}
	for _, c := range rows[1:] {
		if c[4] == "open" {
			open[c[5]] = number(c[6])
		}
	}
	for _, c := range rows[1:] {
		if c[4] == "open" {
			continue
		}
		limit := slices.Contains([]string{"yes", "true", "1"}, strings.ToLower(c[8]))
		written := c[6]
		if limit {
			written = strings.TrimSpace(strings.TrimLeft(written, "<=\u2264"))
		}
		level, err := strconv.ParseFloat(written, 64)
		if !limit && !slices.Contains([]string{"", "no", "false", "0"}, strings.ToLower(c[8])) || err != nil {
			refused++
			continue
		}
		known, limited, shown := limit, limit, level
		if c[7] != "" {
			floor := number(c[7])
			known, limited = true, limit || level < floor+6
			if limited {
				shown = max(level, floor)
			}
		}
		lines = append(lines, fmt.Sprintf("%s/%s@%s %.6f %v %v", c[0], c[3], c[5], open[c[5]]-shown, limited, known))
	}
	slices.Sort(lines)
	return lines, refused
}

// The column limited, in all combinations with signs before levels, floors and runs that
// name another as their reference, gives what a row-by-row calculation gives: however the
// file is written, and packed.
func TestLimitedColumn(t *testing.T) {
	opt := DefaultOptions()
	opt.SkipBadRows, opt.ProblemLimit = true, 10
	for seed := range uint64(12) {
		r := rand.New(rand.NewPCG(seed, 3))
		rows := limitedRows(r)
		var plain, quoted strings.Builder
		for _, cells := range rows {
			plain.WriteString(strings.Join(cells, ",") + "\n")
			quoted.WriteString(`"` + strings.Join(cells, `","`) + "\"\r\n")
		}
		shuffled := slices.Clone(rows)
		r.Shuffle(len(rows)-1, func(i, j int) { shuffled[i+1], shuffled[j+1] = shuffled[j+1], shuffled[i+1] })
		var mixed strings.Builder
		for _, cells := range shuffled {
			cells = slices.Clone(cells)
			cells[0], cells[8] = cells[8], cells[0] // limited before the level
			mixed.WriteString(strings.Join(cells, ",") + "\n")
		}
		want, refused := limitedByHand(t, plain.String())
		files := map[string]string{"plain": plain.String(), "quoted": "\ufeff" + quoted.String(), "mixed": mixed.String()}
		for _, name := range []string{"plain", "quoted", "mixed"} {
			res := readText(t, opt, files[name])
			if got := limitedShown(res); !slices.Equal(got, want) {
				t.Fatalf("seed %d, %s: %d attenuations, want %d: first difference %s", seed, name, len(got), len(want), firstOther(got, want))
			}
			if in := res.sum.Inputs[0]; in.Skipped != refused || in.Rows != len(rows)-1 || in.Blank != 0 {
				t.Errorf("seed %d, %s: %+v, want %d of %d skipped", seed, name, in, refused, len(rows)-1)
			}
		}
		// What can be used is packed and read again.
		header := strings.Join(rows[0], ",") + "\n"
		good := slices.DeleteFunc(slices.Clone(rows), func(c []string) bool {
			_, bad := limitedByHand(t, header+strings.Join(c, ",")+"\n")
			return c[4] != "state" && bad > 0
		})
		var text strings.Builder
		for _, cells := range good {
			text.WriteString(strings.Join(cells, ",") + "\n")
		}
		source := filepath.Join(folder(t, map[string]string{"a.csv": text.String()}), "a.csv")
		for _, ext := range []string{".parquet", ".arrow", ".csv"} {
			if got := limitedShown(goodAt(t, DefaultOptions(), packTo(t, "p"+ext, source))); !slices.Equal(got, want) {
				t.Fatalf("seed %d, packed as %s: %d attenuations, want %d: first difference %s", seed, ext, len(got), len(want), firstOther(got, want))
			}
		}
	}
}

// limitedShown writes what was read as limitedByHand does.
func limitedShown(res result) (lines []string) {
	for _, v := range res.runs {
		for _, row := range v.rows {
			lines = append(lines, fmt.Sprintf("%s/%s@%g %.6f %v %v", v.Label, v.Closings[row.closing].Label, math.Round(v.Points[row.point].FreqHz), row.attenuation, row.limited, row.floorKnown))
		}
	}
	slices.Sort(lines)
	return lines
}

// firstOther is where two lists part.
func firstOther(got, want []string) string {
	for i := range min(len(got), len(want)) {
		if got[i] != want[i] {
			return fmt.Sprintf("%q, want %q", got[i], want[i])
		}
	}
	return "at the end of one"
}
