package campaign

import (
	"math"
	"strings"
	"testing"
	"time"

	"sealbound/stats/simulate"
)

func TestOptionsLayOut(t *testing.T) {
	o := DefaultOptions()
	o.Controls, o.Positions, o.Polarized, o.DriftDB, o.ClosedGainDB = 1, 2, 2, -5, 20
	s, l, err := o.Settings()
	if err != nil {
		t.Fatal(err)
	}
	c, err := simulate.New(s)
	if err != nil {
		t.Fatal(err)
	}
	// Seven boxes in six sessions; each test box carries three products in turn.
	if len(c.Runs()) != 42 || len(s.Points) != 160 || len(s.Boxes) != 7 || len(s.Boxes[0].Fittings) != 3 || l.Files != PerSession {
		t.Errorf("%d runs, %d points, %d boxes", len(c.Runs()), len(s.Points), len(s.Boxes))
	}
	labels := []string{}
	for _, p := range s.Products {
		labels = append(labels, p.Label)
	}
	if got := strings.Join(labels, ", "); got != "as-bought rubber, product-1, product-2" {
		t.Errorf("products %s", got)
	}
	if s.Products[0].WearDBPerYear != 0 || s.Products[2].MeanDB != 64 || s.Products[2].WearDBPerYear != -0.5 {
		t.Errorf("products %+v", s.Products)
	}
	// Points from 10 MHz to 10 GHz lie in four bands.
	if len(s.Bands) != 4 || s.Bands[0].Name != "HF" || s.Bands[3].Name != "SHF" {
		t.Errorf("bands %+v", s.Bands)
	}
	drifted, stepped := 0, 0
	for _, r := range c.Runs() {
		if r.DriftDB == -5 {
			drifted++
		}
		if r.ClosedDB == 20 {
			stepped++
		}
	}
	if drifted != 1 || stepped != 21 {
		t.Errorf("%d runs drift, %d have a gain step; want 1 and 21", drifted, stepped)
	}
	// Two decades above the middle of the range the tilt is twice -2 dB.
	shape := s.Products[1].Shape
	if got := shape.At(math.Sqrt(10*10000) * 1e8); math.Abs(got+4) > 1e-9 {
		t.Errorf("tilt two decades up: %v dB, want -4", got)
	}
}

// Rec. ITU-R V.431: band N is 0.3*10^N to 3*10^N Hz, the lower limit excluded
// and the upper included; so 30 MHz is HF and 300 MHz VHF.
func TestITU(t *testing.T) {
	for _, tt := range []struct {
		freq float64
		want string
	}{{3.1e3, "VLF"}, {1e5, "LF"}, {1e6, "MF"}, {3.000001e6, "HF"}, {3e6, "MF"}, {30e6, "HF"}, {30.1e6, "VHF"}, {300e6, "VHF"}, {433e6, "UHF"}, {3e9, "UHF"}, {5.8e9, "SHF"}, {3e10, "SHF"}, {4e10, "EHF"}} {
		got := ITU([]simulate.Point{{FreqHz: tt.freq}})
		if len(got) != 1 || got[0].Name != tt.want {
			t.Errorf("%v Hz lies in %+v, want %s", tt.freq, got, tt.want)
		}
	}
	if got := ITU([]simulate.Point{{FreqHz: 1}}); got != nil {
		t.Errorf("1 Hz lies in %+v", got)
	}
}

func TestOptionsRefuse(t *testing.T) {
	for name, change := range map[string]func(*Options){
		"no boxes":        func(o *Options) { o.Boxes = 0 },
		"no products":     func(o *Options) { o.Products = 0 },
		"rubber alone":    func(o *Options) { o.Products = 1 },
		"no frequencies":  func(o *Options) { o.Frequencies = 0 },
		"negative":        func(o *Options) { o.Controls = -1 },
		"a billion boxes": func(o *Options) { o.Boxes = 1e9 },
		"too many visits": func(o *Options) { o.Boxes, o.Sessions = 1e5, 1e5 },
		"too many points": func(o *Options) { o.Frequencies, o.Positions = 1e5, 1e5 },
		"polarizations":   func(o *Options) { o.Polarized = 3 },
		"range":           func(o *Options) { o.LoMHz = 20000 },
		"range NaN":       func(o *Options) { o.HiMHz = math.NaN() },
		"from zero":       func(o *Options) { o.LoMHz = 0 },
		"no first date":   func(o *Options) { o.First = time.Time{} },
		"far future":      func(o *Options) { o.Sessions, o.EveryDay = 1000, 1e6 },
		"crowded":         func(o *Options) { o.Frequencies, o.HiMHz = 100, o.LoMHz+1e-5 },
		"infinite level":  func(o *Options) { o.MeanDB = math.Inf(1) },
		"infinite step":   func(o *Options) { o.StepDB = math.Inf(-1) },
		"spread":          func(o *Options) { o.ClosingSDDB = -1 },
		"drift unseen":    func(o *Options) { o.DriftDB, o.OpenRepeats = -4, 1 },
	} {
		o := DefaultOptions()
		change(&o)
		s, l, err := o.Settings()
		if err == nil {
			err = Write(t.TempDir(), s, l, false)
		}
		if err == nil {
			t.Errorf("%s: written", name)
		}
	}
}

// The yardstick: 5 million readings in some 2,260 runs of 11 sweeps at 201 points.
func TestYardstick(t *testing.T) {
	s, l, err := Yardstick(PerRun)
	if err != nil {
		t.Fatal(err)
	}
	c, err := simulate.New(s)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Products) != 6 || len(s.Boxes) != 40 || len(s.Points) != 201 || len(c.Runs()) != 2260 {
		t.Errorf("%d products, %d boxes, %d points, %d runs", len(s.Products), len(s.Boxes), len(s.Points), len(c.Runs()))
	}
	closings := 0
	for _, v := range c.Visits() {
		closings += len(v.Closings)
	}
	if rows := (closings + len(c.Runs())) * len(s.Points); rows != 4_996_860 {
		t.Errorf("%d readings, want 2260 * 11 * 201", rows)
	}
	w := newRowWriter(c, &l)
	var got counter
	for run := 0; run < len(c.Runs()); run += 226 {
		if err := w.file(&got, []int{run}); err != nil {
			t.Fatal(err)
		}
	}
	// Ten files of a header and 11 sweeps each.
	if got.lines != 10*(1+11*201) {
		t.Errorf("%d lines, want %d", got.lines, 10*(1+11*201))
	}
	// All of them would take about 358 MB.
	if mb := float64(got.bytes) / 10 * 2260 / 1e6; math.Abs(mb-358) > 10 {
		t.Errorf("%.0f MB of CSV, want about 358", mb)
	}
}
