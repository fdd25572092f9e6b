package ingest

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
)

const plainHeader = "run box gasket closing state freq_mhz level_dbm"

// Common practice, no source: attenuation is what the open level exceeds the
// closed one by, so -31 dBm against -59 dBm is 28 dB, against -105 dBm 74 dB.
// The same figures follow whatever is recorded beside them, as long as it is
// recorded for both.
func TestAttenuation(t *testing.T) {
	for _, tt := range []struct {
		name, text, want string
	}{
		{"levels", lines(plainHeader,
			"a - - - open 100 -31",
			"a B G 1 closed 100 -59",
			"a B G 2 closed 100 -105"), "B/1@100=28? B/2@100=74?"},
		{"10 dB more everywhere", lines(plainHeader,
			"a - - - open 100 -21",
			"a B G 1 closed 100 -49",
			"a B G 2 closed 100 -95"), "B/1@100=28? B/2@100=74?"},
		{"a preamplifier put in for the closed readings", lines(plainHeader+" gain_db",
			"a - - - open 100 -31 0",
			"a B G 1 closed 100 -29 30",
			"a B G 2 closed 100 -75 30"), "B/1@100=28? B/2@100=74?"},
		{"an attenuator put in for the open reading", lines(plainHeader+" gain_db",
			"a - - - open 100 -51 -20",
			"a B G 1 closed 100 -59 0"), "B/1@100=28?"},
		{"more power for the closed readings", lines(plainHeader+" tx_dbm",
			"a - - - open 100 -31 0",
			"a B G 1 closed 100 -49 10"), "B/1@100=28?"},
		{"dBuV on both sides", lines("run box gasket closing state freq_mhz level_dbuv",
			"a - - - open 100 75.9897",
			"a B G 1 closed 100 47.9897"), "B/1@100=28?"},
		{"an S21 from a network analyser", lines("run box gasket closing state freq_mhz level_db",
			"a - - - open 100 -31",
			"a B G 1 closed 100 -59"), "B/1@100=28?"},
		{"other units of frequency", lines("run box gasket closing state freq_ghz level_dbm",
			"a - - - open 0.1 -31",
			"a B G 1 closed 0.1 -59"), "B/1@100=28?"},
		{"synonyms, in any order and case", lines("Level_dBm STATE pol SERIAL freq_KHz closing gasket run",
			"-31 Reference H - 100000 - - a",
			"-59 SEALED H 007 100000 1 G a"), "007/1/H@100=28?"},
		{"attenuations as such", lines("box gasket closing freq_mhz se_db",
			"B G 1 100 28",
			"B G 2 100 >72.5",
			"B G 3 100 >=72.5"), "B/1@100=28 B/2@100=>72.5 B/3@100=>72.5"},
		{"a sweep is averaged before it is compared", lines(plainHeader+" sweep",
			"a - - - open 100 -31 -",
			"a B G 1 closed 100 -58 x",
			"a B G 1 closed 100 -60 y"), "B/1@100=28?"},
		{"open readings are averaged in dB", lines(plainHeader,
			"a - - - open 100 -30",
			"a - - - open 100 -32",
			"a B G 1 closed 100 -59"), "B/1@100=28?"},
		{"position and polarization belong to the point", lines(plainHeader+" position polarization",
			"a - - - open 100 -31 door V",
			"a - - - open 100 -41 door H",
			"a - - - open 100 -51 wall V",
			"a B G 1 closed 100 -59 door V",
			"a B G 1 closed 100 -59 door H",
			"a B G 1 closed 100 -59 wall V"), "B/1/doorH@100=18? B/1/doorV@100=28? B/1/wallV@100=8?"},
		{"frequencies within 1 ppm are one", lines(plainHeader,
			"a - - - open 30 -31",
			"a B G 1 closed 30.00002 -59"), "B/1@30=28?"},
	} {
		res := good(t, DefaultOptions(), tt.text)
		if len(res.runs) != 1 || res.runs[0].table() != tt.want {
			t.Errorf("%s: %v, want %s", tt.name, res.runs, tt.want)
		}
	}
}

// A microvolt into 50 ohm is 20 fW, so dBm = dBuV - 90 - 10 log10(50).
func TestMicrovolts(t *testing.T) {
	dir := folder(t, map[string]string{
		"open.csv":   lines("run state freq_mhz level_dbuv floor_dbuv", "a open 30 61.8 -"),
		"closed.csv": lines("run box gasket closing state freq_mhz level_dbm floor_dbuv", "a B G 1 closed 30 -73.1897 0"),
	})
	res := read(t, DefaultOptions(), dir)
	if res.err != nil {
		t.Fatal(res.err)
	}
	r := res.runs[0].rows[0]
	want := 61.8 - 90 - 10*math.Log10(50)
	if math.Abs(r.openLevel-want) > 1e-12 || math.Abs(r.attenuation-28) > 1e-4 {
		t.Errorf("%+v, want an open level of %v dBm and 28 dB", r, want)
	}
	if floor := -90 - 10*math.Log10(50); math.Abs(r.headroom-(want-floor-6)) > 1e-12 {
		t.Errorf("headroom %v, want %v", r.headroom, want-floor-6)
	}
}

func same(a, b float64) bool {
	return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) < 1e-9
}

func TestOwnReference(t *testing.T) {
	res := good(t, DefaultOptions(), lines(plainHeader,
		"a - - - open 100 -30",
		"a - - - open 200 -30",
		"a - - 2 open 100 -40",
		"a C - 3 open 100 -50",
		"a B G 1 closed 100 -90",
		"a B G 2 closed 100 -90",
		"a B G 2 closed 200 -90",
		"a B G 3 closed 100 -90",
		"a C G 3 closed 100 -90"))
	r := res.runs[0]
	const want = "B/1@100=60? B/2@100=50? B/2@200=60? B/3@100=60? C/3@100=40?"
	if got := r.table(); got != want {
		t.Errorf("%s, want %s", got, want)
	}
	for i, own := range []bool{false, true, false, true} {
		if r.Closings[i].OwnReference != own {
			t.Errorf("closing %+v: OwnReference should be %v", r.Closings[i], own)
		}
	}
	if n := len(r.Reference.Repeats); n != 1 {
		t.Errorf("%d repeats of the whole run's reference, want 1", n)
	}
	if len(res.sum.Notes) != 0 {
		t.Errorf("notes %q", res.sum.Notes)
	}
	res = good(t, DefaultOptions(), lines(plainHeader,
		"a - - - open 100 -30",
		"a - - 7 open 100 -40",
		"a B G 1 closed 100 -90"))
	if len(res.sum.Notes) != 1 || !strings.Contains(res.sum.Notes[0], `"7"`) {
		t.Errorf("notes %q should tell of closing 7", res.sum.Notes)
	}
}

func TestReference(t *testing.T) {
	dir := folder(t, map[string]string{
		"a.csv": lines("date box gasket closing state freq_mhz level_dbm reference",
			"2026-05-05 B G 1 closed 100 -90 morning",
			"2026-05-05 B G 2 closed 100 -91 -"),
		"z.csv": lines("run date state freq_mhz level_dbm",
			"morning 2026-05-04 open 100.00005 -30"),
	})
	res := read(t, DefaultOptions(), dir)
	if res.err != nil {
		t.Fatal(res.err)
	}
	if len(res.runs) != 2 || res.runs[0].Label != "a 2026-05-05" || res.runs[1].Label != "morning" {
		t.Fatalf("%+v", res.runs)
	}
	r := res.runs[0]
	if got := r.table(); got != "B/1@100=60? B/2@100=61?" {
		t.Error(got)
	}
	if f := r.Reference; f.Run != "morning" || f.Date.Format("2006-01-02") != "2026-05-04" || f.DriftDB != 0 || f.DriftAt != 0 {
		t.Errorf("reference %+v", f)
	}
	if c := r.Closings[0]; c.Session != "2026-05-05" || c.Date.Format("2006-01-02") != "2026-05-05" {
		t.Errorf("closing %+v", c)
	}
	for _, in := range res.sum.Inputs {
		if in.Skipped != 0 || in.Used != in.Rows {
			t.Errorf("%+v", in)
		}
	}
	// The name of the file is as good a name as the label made from it.
	dir = folder(t, map[string]string{
		"a.csv":       lines("box gasket closing state freq_mhz level_dbm reference", "B G 1 closed 100 -90 morning"),
		"morning.csv": lines("date state freq_mhz level_dbm", "2026-05-04 open 100 -30"),
	})
	if res = read(t, DefaultOptions(), dir); res.err != nil || res.runs[0].Reference.Run != "morning 2026-05-04" {
		t.Errorf("%v, %+v", res.err, res.runs)
	}
	// A run may name itself.
	res = good(t, DefaultOptions(), lines(plainHeader+" reference",
		"a - - - open 100 -31 a",
		"a B G 1 closed 100 -59 a"))
	if r := res.runs[0]; r.table() != "B/1@100=28?" || r.Reference.Run != "a" {
		t.Errorf("%+v", r)
	}
}

func TestDrift(t *testing.T) {
	text := lines(plainHeader+" sweep",
		"a - - - open 100 -30 first",
		"a - - - open 200 -30 first",
		"a - - - open 100 -30.5 last",
		"a - - - open 200 -33.1 last",
		"a B G 1 closed 100 -90 -",
		"a C G 1 closed 200 -90 -",
		"b B G 1 closed 100 -90 -")
	text = strings.Replace(text, "sweep\n", "sweep,reference\n", 1)
	var b strings.Builder
	for i, line := range strings.Split(strings.TrimSpace(text), "\n") {
		switch {
		case i == 0:
			b.WriteString(line)
		case strings.HasPrefix(line, "b"):
			b.WriteString(line + ",a")
		default:
			b.WriteString(line + ",")
		}
		b.WriteByte('\n')
	}
	res := readText(t, DefaultOptions(), b.String())
	if res.err != nil || len(res.runs) != 0 || len(res.sum.LeftOut) != 2 {
		t.Fatalf("%v, %v, %+v", res.err, res.runs, res.sum.LeftOut)
	}
	l := res.sum.LeftOut[0]
	if l.Run != "a" || !same(l.DriftDB, 3.1) || l.FreqHz != 2e8 || l.Readings != 2 || strings.Join(l.Boxes, " ") != "B C" {
		t.Errorf("%+v", l)
	}
	if l := res.sum.LeftOut[1]; l.Run != "b" || !same(l.DriftDB, 3.1) || l.Readings != 1 {
		t.Errorf("%+v", l)
	}
	if in := res.sum.Inputs[0]; in.Used != 7 || in.Skipped != 0 {
		t.Errorf("%+v: rows of such a run are read and understood", in)
	}
	opt := DefaultOptions()
	opt.KeepDrifted = true
	res = readText(t, opt, b.String())
	if res.err != nil || len(res.runs) != 2 || len(res.sum.LeftOut) != 0 {
		t.Fatalf("%v, %v", res.err, res.runs)
	}
	r := res.runs[0].Reference
	if !same(r.DriftDB, 3.1) || r.DriftAt != 1 || len(r.Repeats) != 2 || r.Repeats[1][1] != -33.1 {
		t.Errorf("%+v", r)
	}
	opt = DefaultOptions()
	opt.DriftDB = 3.2
	if res = readText(t, opt, b.String()); len(res.runs) != 2 {
		t.Errorf("%d runs", len(res.runs))
	}
	// Only repeats that no sweep tells apart depend on the order of the rows.
	res = good(t, opt, lines(plainHeader,
		"a - - - open 100 -30", "a - - - open 200 -30", "a - - - open 100 -31", "a - - - open 200 -31",
		"a B G 1 closed 100 -90"))
	if len(res.sum.Notes) != 1 || !strings.Contains(res.sum.Notes[0], "sweep") {
		t.Errorf("notes %q should advise sweep", res.sum.Notes)
	}
	if n := len(res.runs[0].Reference.Repeats); n != 2 {
		t.Errorf("%d repeats", n)
	}
	// No open reading at all: no drift.
	res = good(t, opt, lines("box gasket closing freq_mhz atten_db", "B G 1 100 28"))
	if r := res.runs[0].Reference; !math.IsNaN(r.DriftDB) || r.DriftAt != -1 || len(r.Repeats) != 0 {
		t.Errorf("%+v", r)
	}
}

func TestDates(t *testing.T) {
	// Open readings on two dates: each date is a run of its own.
	res := good(t, DefaultOptions(), lines("date "+plainHeader,
		"2026-05-04 a - - - open 100 -30",
		"2026-05-04 a B G 1 closed 100 -90",
		"2026-05-05 a - - - open 100 -40",
		"2026-05-05 a B G 1 closed 100 -90"))
	if len(res.runs) != 2 || res.runs[0].Label != "a 2026-05-04" || res.runs[1].table() != "B/1@100=50?" {
		t.Errorf("%+v", res.runs)
	}
	// On one: they serve the closings of all dates, and equal labels on two
	// dates are two closings.
	res = good(t, DefaultOptions(), lines("date "+plainHeader,
		"2026-05-04 a - - - open 100 -30",
		"2026-05-04 a B G 1 closed 100 -90",
		"2026-05-05T23:59:59+02:00 a B G 1 closed 100 -91"))
	if len(res.runs) != 1 || res.runs[0].table() != "B/1@100=60? B/1@100=61?" {
		t.Fatalf("%+v", res.runs)
	}
	for i, want := range []string{"2026-05-04", "2026-05-05"} {
		if c := res.runs[0].Closings[i]; c.Date.Format("2006-01-02") != want || c.Session != want {
			t.Errorf("%+v", c)
		}
	}
	// A date that is unique in the run holds for rows without one.
	res = good(t, DefaultOptions(), lines("date "+plainHeader,
		"- a - - - open 100 -30",
		"- a B G 1 closed 100 -90",
		"2026-05-04 a B G 1 closed 200 -90",
		"- a - - - open 200 -30"))
	if r := res.runs[0]; len(res.runs) != 1 || len(r.Closings) != 1 || r.Closings[0].Session != "2026-05-04" || r.Reference.Date.IsZero() {
		t.Errorf("%+v", res.runs)
	}
	// Without a date the session is the run.
	res = good(t, DefaultOptions(), lines(plainHeader, "a - - - open 100 -30", "a B G 1 closed 100 -90"))
	if c := res.runs[0].Closings[0]; c.Session != "a" || !c.Date.IsZero() {
		t.Errorf("%+v", c)
	}
	// A session that is written stays.
	res = good(t, DefaultOptions(), lines("session date "+plainHeader,
		"- 2026-05-04 a - - - open 100 -30",
		"am 2026-05-04 a B G 1 closed 100 -90",
		"pm 2026-05-04 a B G 1 closed 100 -91"))
	if r := res.runs[0]; len(r.Closings) != 2 || r.Closings[0].Session != "am" || r.Closings[1].Session != "pm" {
		t.Errorf("%+v", r.Closings)
	}
}

func TestRunLabels(t *testing.T) {
	one := func(box string) string {
		return lines("box gasket closing state freq_mhz level_dbm", "- - - open 100 -30", box+" G 1 closed 100 -90")
	}
	dir := folder(t, map[string]string{"x/may.csv": one("B"), "y/may.csv": one("C"), "june.csv.csv": one("D"), "deep/er/z/may.csv": one("E"), "deep/z/may.csv": one("F")})
	res := read(t, DefaultOptions(), dir)
	if res.err != nil {
		t.Fatal(res.err)
	}
	var labels []string
	for _, r := range res.runs {
		labels = append(labels, strings.TrimPrefix(strings.TrimPrefix(r.Label, strings.TrimPrefix(filepath.ToSlash(dir), "/")), filepath.ToSlash(dir)))
	}
	want := "/deep/er/z/may /deep/z/may june.csv x/may y/may"
	if got := strings.Join(labels, " "); got != want {
		t.Errorf("labels %s, want %s", got, want)
	}
	// One label in two files is one run.
	dir = folder(t, map[string]string{
		"open.csv":   lines("run state freq_mhz level_dbm", "a open 100 -31"),
		"closed.csv": lines("run box gasket closing state freq_mhz level_dbm", "a B G 1 closed 100 -59"),
	})
	if res = read(t, DefaultOptions(), dir); res.err != nil || len(res.runs) != 1 || res.runs[0].table() != "B/1@100=28?" {
		t.Errorf("%v, %+v", res.err, res.runs)
	}
}
