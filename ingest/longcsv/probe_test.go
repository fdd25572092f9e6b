package longcsv

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"testing"

	"sealbound/ingest/reading"
)

// Where the rows of runs stand together, the stretches that a few looks show are those
// that reading all rows shows, whatever their sizes.
func TestProbeFindsStretches(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 1))
		var b bytes.Buffer
		b.WriteString([]string{"run,date,box,gasket,closing,state,freq_hz,level_dbm\n", "freq_hz,level_dbm,state,box,gasket,closing,date,run\n", "box,gasket,closing,state,date,freq_hz,level_dbm\n"}[seed%3])
		runs := 1 + r.IntN(40)
		for n := range runs {
			rows := 1 + r.IntN(1<<r.IntN(12))
			date := fmt.Sprintf("2026-%02d-%02d", 1+n/28, 1+n%28)
			for i := range rows {
				freq, level := 1000+i*r.IntN(1000000), r.IntN(100)
				switch seed % 3 {
				case 0:
					fmt.Fprintf(&b, "run %d,%s,B,wool,1,open,%d,-%d\n", n, date, freq, level)
				case 1:
					fmt.Fprintf(&b, "%d,-%d,open,B,wool,1,%s,run %d\n", freq, level, date, n)
				default:
					fmt.Fprintf(&b, "B,wool,1,open,%s,%d,-%d\n", date, freq, level)
				}
			}
		}
		open := func() *table {
			x, problems, err := Open("x.csv", 0, bytes.NewReader(b.Bytes()), int64(b.Len()))
			if err != nil || len(problems) > 0 {
				t.Fatal(problems, err)
			}
			return x.(*table)
		}
		show := func(s reading.Stretch) string { return fmt.Sprintf("%q %v %d-%d\n", s.Run, s.Date, s.From, s.To) }
		var want, got string
		if _, err := open().Index(context.Background(), bytes.NewReader(b.Bytes()), func(s reading.Stretch) { want += show(s) }); err != nil {
			t.Fatal(err)
		}
		x := open()
		first := 0
		ok, err := x.Probe(context.Background(), bytes.NewReader(b.Bytes()), func(s reading.Stretch) bool {
			if got += show(s); s.From == x.body {
				first = s.Line
			}
			return true
		})
		if err != nil || !ok || got != want || first != 2 {
			t.Errorf("seed %d: %v, %v, first line %d\n%s\nwant\n%s", seed, ok, err, first, got, want)
		}
	}
}

// Probing gives up on rows that are not plain where it looks at them, and comes to an
// end whatever stands in the file.
func TestProbeGivesUp(t *testing.T) {
	header := "run,date,freq_hz,level_db,state\n"
	row := "a,2026-01-01,1000,-3,open\n"
	for name, text := range map[string]string{
		"nothing":        "",
		"blank":          "\n\n\n",
		"quotes":         "\"a\",2026-01-01,1000,-3,open\n" + row,
		"a short row":    row + "a\n",
		"a long row":     row + string(bytes.Repeat([]byte("x"), 2*lookSize)) + ",2026-01-01,1000,-3,open\n",
		"a long last":    row + "a,2026-01-01,1000,-3," + string(bytes.Repeat([]byte("x"), 2*lookSize)),
		"not a date":     "a,2026-99-01,1000,-3,open\n",
		"a lone return":  "a,2026-01-01,1000,-3,op\ren\n" + row,
		"zero bytes":     "a\x00b,2026-01-01,1000,-3,open\n",
		"all on one row": string(bytes.Repeat([]byte(row[:len(row)-1]), 10000)),
	} {
		text = header + text
		x, problems, err := Open("x.csv", 0, bytes.NewReader([]byte(text)), int64(len(text)))
		if err != nil || len(problems) > 0 {
			t.Fatal(name, problems, err)
		}
		if ok, err := x.(*table).Probe(context.Background(), bytes.NewReader([]byte(text)), func(reading.Stretch) bool { return true }); ok || err != nil {
			t.Errorf("%s: %v, %v", name, ok, err)
		}
	}
}
