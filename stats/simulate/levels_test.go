package simulate

import (
	"errors"
	"math"
	"testing"
)

// A signal x dB above the noise reads too high by 10 lg(1 + 10^(-x/10)).
// Expected: that formula to three decimals, computed in R 4.2.2.
func TestPowerSum(t *testing.T) {
	for _, tt := range []struct{ above, tooHigh float64 }{
		{0, 3.010}, {3, 1.764}, {6, 0.973}, {10, 0.414}, {20, 0.043},
	} {
		for _, got := range []float64{powerSum(-100+tt.above, -100), powerSum(-100, -100+tt.above)} {
			if got -= -100 + tt.above; math.Abs(got-tt.tooHigh) > 0.0005 {
				t.Errorf("%v dB above noise: %.4f dB too high, want %.3f", tt.above, got, tt.tooHigh)
			}
		}
	}
	if !math.IsNaN(powerSum(math.NaN(), -100)) {
		t.Error("a missing reading became a level")
	}
}

// The floor cuts what stands below it and nothing else, and exactly the levels
// less than the margin above it are limited.
func TestFloorCuts(t *testing.T) {
	free := quiet(t, 20, 3, 5, 6, nil)
	free.SD.ClosingDB, free.SD.PointDB = 3, 4
	cut := free
	cut.Floor = Flat(-94) // 4 dB below the mean level of -90
	want, got := build(t, free).Grid(Selection{}, 6), build(t, cut).Grid(Selection{}, 6)
	limited, atFloor := 0, 0
	for i, db := range want.DB {
		if want.Limited[i] || !math.IsNaN(want.HeadroomDB[i]) {
			t.Fatal("limited although there is no floor")
		}
		// Open -30, floor -94: at most 64 dB can be seen, and 58 shown.
		if math.Abs(got.DB[i]-math.Min(db, 64)) > 1e-9 {
			t.Fatalf("true %v dB, shown %v", db, got.DB[i])
		}
		if got.Limited[i] != (db > 58) {
			t.Fatalf("true %v dB, headroom 58: limited %v", db, got.Limited[i])
		}
		if math.Abs(got.HeadroomDB[i]-58) > 1e-9 {
			t.Fatalf("headroom %v dB, want 58", got.HeadroomDB[i])
		}
		if got.Limited[i] {
			limited++
		}
		if db > 64 {
			atFloor++
		}
	}
	if limited == 0 || limited == len(want.DB) || atFloor == 0 {
		t.Fatalf("%d of %d limited, %d at the floor: the case tests nothing", limited, len(want.DB), atFloor)
	}
}

// A gain shifts what is shown and not what is true; it lifts the headroom.
func TestGainSteps(t *testing.T) {
	plain := rich(t, 4, 2)
	plain.Floor = nil
	stepped := plain
	second := plain.Sessions[1].Name()
	stepped.GainSteps = []GainStep{{Session: second, Box: "box-2", OpenDB: -10, ClosedDB: 20}}
	a, b := build(t, plain), build(t, stepped)
	ga, gb := a.Grid(Selection{}, 6), b.Grid(Selection{}, 6)
	for i := range ga.DB {
		if math.Abs(ga.DB[i]-gb.DB[i]) > 1e-9 {
			t.Fatalf("attenuation %v dB without the step, %v with it", ga.DB[i], gb.DB[i])
		}
	}
	shifts := map[float64]int{}
	for run := range a.Runs() {
		levels := collect(t, a, run)
		for i, s := range collect(t, b, run) {
			if got := s.LevelDBM[0] - levels[i].LevelDBM[0]; math.Abs(got-s.GainDB) > 1e-9 {
				t.Fatalf("%v dB of gain recorded, %v dB shown", s.GainDB, got)
			}
			shifts[s.GainDB]++
		}
	}
	// One run of 2 open sweeps, and 2 closings of 2 sweeps.
	if shifts[-10] != 2 || shifts[20] != 4 {
		t.Errorf("sweeps by gain: %v", shifts)
	}

	plain.Floor, plain.SD.FloorDB, plain.FloorAdds = Flat(-100), 0, false
	stepped = plain
	stepped.GainSteps = []GainStep{{Session: second, ClosedDB: 20, FloorDB: 8}}
	head, lifted := build(t, plain).Grid(Selection{Session: second}, 6), build(t, stepped).Grid(Selection{Session: second}, 6)
	for i := range head.HeadroomDB {
		if got := lifted.HeadroomDB[i] - head.HeadroomDB[i]; math.Abs(got-12) > 1e-9 {
			t.Fatalf("20 dB of gain that lift the floor by 8 dB: headroom %v dB better, want 12", got)
		}
	}
}

// collect copies the sweeps of a run.
func collect(t *testing.T, c *Campaign, run int) []Sweep {
	t.Helper()
	var out []Sweep
	err := c.EachSweep(run, func(s Sweep) error {
		s.LevelDBM = append([]float64(nil), s.LevelDBM...)
		out = append(out, s)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Band values drawn directly and paired from levels are the same closings.
func TestGridAgreesWithClosings(t *testing.T) {
	for name, change := range map[string]func(*Settings){
		"one run per box":  func(*Settings) {},
		"shared reference": func(s *Settings) { s.SharedReference = true },
		"drift":            func(s *Settings) { s.Drifts = []Drift{{Session: s.Sessions[1].Name(), Box: "box-2", DB: -4}} },
		"skipped closings": func(s *Settings) { s.DroppedShare, s.Closings = 0.4, 6 },
		"control":          func(s *Settings) { s.Boxes[2].Control = true },
	} {
		s := rich(t, 4, 2)
		s.Floor, s.OpenRepeats = nil, 3
		change(&s)
		c := build(t, s)
		for _, want := range []Selection{{}, {Band: "high"}, {Box: "box-3"}, {Session: s.Sessions[1].Name(), Band: "low"}} {
			a, b := c.Closings(want), c.Grid(want, 6)
			if len(a.Values) == 0 || len(a.Values) != len(b.Values) {
				t.Fatalf("%s, %+v: %d closings and %d paired ones", name, want, len(a.Values), len(b.Values))
			}
			for i := range a.Values {
				if math.Abs(a.Values[i]-b.Values[i]) > 1e-9 || a.Visits[i] != b.Visits[i] {
					t.Fatalf("%s, %+v, closing %d: %v dB and %v dB", name, want, i, a.Values[i], b.Values[i])
				}
			}
		}
	}
}

// The reference of a drifting run moves by the drift from its first open sweep
// to its last; no other run moves.
func TestDrift(t *testing.T) {
	s := quiet(t, 3, 2, 3, 2, nil)
	s.OpenRepeats = 3
	day := s.Sessions[1].Name()
	s.Drifts = []Drift{{Session: day, Box: "box-2", DB: -4}}
	c := build(t, s)
	for i, r := range c.Runs() {
		want := 0.0
		if r.Label == day+"-box-2" {
			want = -4
		}
		open := c.OpenLevels(i)
		for p := range open[0] {
			if got := open[2][p] - open[0][p]; math.Abs(got-want) > 1e-9 || r.DriftDB != want {
				t.Errorf("run %s moved by %v dB, want %v", r.Label, got, want)
			}
		}
		k := 0
		for _, sweep := range collect(t, c, i) {
			if sweep.State != Open {
				continue
			}
			for p, level := range sweep.LevelDBM {
				if level-sweep.GainDB != open[k][p] {
					t.Fatalf("open sweep %d of run %s: %v and %v dBm", k+1, r.Label, level, open[k][p])
				}
			}
			k++
		}
		if k != 3 {
			t.Errorf("run %s has %d open sweeps, want 3", r.Label, k)
		}
	}
}

// A run is read in the order open, floor, closings, open.
func TestOrderOfSweeps(t *testing.T) {
	s := quiet(t, 1, 1, 2, 1, nil)
	s.Floor, s.OpenRepeats, s.Sweeps = Flat(-110), 3, 2
	got := ""
	for _, sweep := range collect(t, build(t, s), 0) {
		got += string("ocf"[sweep.State]) + string(rune('0'+sweep.Closing)) + string(rune('0'+sweep.Number)) + " "
	}
	if want := "o01 f01 c11 c12 o02 c21 c22 o03 "; got != want {
		t.Errorf("sweeps %s, want %s", got, want)
	}
	stop := errors.New("enough")
	for n := range 8 {
		seen := 0
		err := build(t, s).EachSweep(0, func(Sweep) error {
			if seen++; seen > n {
				return stop
			}
			return nil
		})
		if err != stop || seen != n+1 {
			t.Errorf("stopped after %d sweeps: %d seen, error %v", n, seen, err)
		}
	}
}

func TestMissingReadings(t *testing.T) {
	s := quiet(t, 20, 5, 4, 10, nil)
	s.MissingShare, s.Sweeps = 0.1, 2
	g := build(t, s).Grid(Selection{}, 6)
	missing := 0.0
	for _, db := range g.DB {
		if math.IsNaN(db) {
			missing++
		}
	}
	n := float64(len(g.DB))
	within(t, "share missing", missing/n, 0.1, math.Sqrt(0.1*0.9/n))
	for i, v := range g.Values {
		if math.Abs(v-60) > 1e-9 {
			t.Fatalf("closing %d: %v dB, the readings that are there show 60", i, v)
		}
	}
}
