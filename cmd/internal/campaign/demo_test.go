package campaign

import (
	"bytes"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

var update = flag.Bool("update", false, "write testdata/demo anew")

const demoDir = "../../../testdata/demo"

// The committed demo is what its settings produce, byte for byte.
func TestDemoIsCurrent(t *testing.T) {
	settings, layout := Demo()
	if *update {
		if err := Write(demoDir, settings, layout, true); err != nil {
			t.Fatal(err)
		}
	}
	dir := t.TempDir()
	if err := Write(dir, settings, layout, false); err != nil {
		t.Fatal(err)
	}
	want, got := contents(t, dir), contents(t, demoDir)
	for name := range got {
		if _, ok := want[name]; !ok {
			t.Errorf("%s is committed but not written", name)
		}
	}
	size := 0
	for name, body := range want {
		size += len(body)
		if !bytes.Equal(got[name], body) {
			t.Errorf("%s differs from what the settings produce; run this test with -update", name)
		}
	}
	if size > 400<<10 {
		t.Errorf("the demo takes %d bytes; it should stay readable, below 400 KB", size)
	}
}

func contents(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]byte{}
	for _, e := range entries {
		body, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		out[e.Name()] = body
	}
	return out
}

// The demo holds what its README promises, by a plain reading of its files.
func TestDemoHasSomethingToSay(t *testing.T) {
	type at struct{ run, freq, position string }
	open, floor := map[at][]float64{}, map[at]float64{}
	boxes, closed := map[string]map[string]bool{}, 0
	gains, drifted := map[string]bool{}, map[string]bool{}
	files, err := filepath.Glob(filepath.Join(demoDir, "session-*.csv"))
	if err != nil || len(files) != 5 {
		t.Fatalf("%d sessions (%v), want 5", len(files), err)
	}
	var rows []map[string]string
	for _, f := range files {
		r, _ := readAll(t, f)
		rows = append(rows, r...)
	}
	less := func(r map[string]string) float64 {
		level, err1 := strconv.ParseFloat(r["level_dbm"], 64)
		gain, err2 := strconv.ParseFloat(r["gain_db"], 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("%v: %v %v", r, err1, err2)
		}
		return level - gain
	}
	seen, last := map[string]bool{}, ""
	for _, r := range rows {
		if r["run"] != last && seen[r["run"]] {
			t.Fatalf("the rows of run %s are not together", r["run"])
		}
		last = r["run"]
		seen[last] = true
		k := at{r["run"], r["freq_mhz"], r["position"]}
		switch r["state"] {
		case "open":
			open[k] = append(open[k], less(r))
		case "floor":
			floor[k] = less(r)
		case "closed":
			closed++
			if boxes[r["gasket"]] == nil {
				boxes[r["gasket"]] = map[string]bool{}
			}
			boxes[r["gasket"]][r["box"]] = true
			if r["gain_db"] != "0" {
				gains[r["run"]] = true
			}
		}
	}
	for k, levels := range open {
		if len(levels) != 2 {
			t.Fatalf("%v has %d open readings, want one at the start and one at the end", k, len(levels))
		}
		if math.Abs(levels[1]-levels[0]) > 3 {
			drifted[k.run] = true
		}
		// Above 3 GHz nothing can show 50 dB: the floor is too near.
		headroom := math.Min(levels[0], levels[1]) - floor[k] - 6
		if high := k.freq == "3400" || k.freq == "5760"; !gains[k.run] && high != (headroom < 50) {
			t.Errorf("%v: %.1f dB of headroom", k, headroom)
		}
	}
	limited := map[bool]int{} // by whether above 3 GHz
	for _, r := range rows {
		k := at{r["run"], r["freq_mhz"], r["position"]}
		if r["state"] == "closed" && less(r) < floor[k]+6 {
			limited[len(k.freq) == 4 && k.freq != "1290"]++
		}
	}
	if limited[false] == 0 || limited[true] == 0 || limited[false] > closed/20 {
		t.Errorf("limited below and above 3 GHz: %d and %d of %d", limited[false], limited[true], closed)
	}
	if len(drifted) != 1 || !drifted["2022-Windle"] || len(gains) != 1 || len(seen) != 30 {
		t.Errorf("runs %d, drifted %v, with a gain step %v", len(seen), drifted, gains)
	}
	if len(boxes) != 4 {
		t.Errorf("%d products, want 4", len(boxes))
	}
	for gasket, in := range boxes {
		if delete(in, "Dunmere"); len(in) < 2 {
			t.Errorf("%s is in %d test boxes, want two or more", gasket, len(in))
		}
	}
}
