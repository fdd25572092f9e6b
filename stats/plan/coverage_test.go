package plan

import (
	"errors"
	"math/rand/v2"
	"os"
	"slices"
	"testing"
)

// What a plan from an archive is worth: archives are drawn, their spread estimated,
// the cheapest layout looked for, and its power taken at the spread that the archive
// was drawn with. An estimate errs both ways, so the power that is met scatters
// around the one that was said; its mean is below it, since plans follow spreads that
// came out too small more readily than too large. SEALBOUND_LONG=1 draws more and
// logs what testdata/coverage.md records.
func TestCoverageOfPlansFromArchives(t *testing.T) {
	archives := 15
	if os.Getenv("SEALBOUND_LONG") != "" {
		archives = 1000
	}
	chi := map[chiKey][]float64{} // the same for all; saves time
	v := Variances{Box: 1.44, Fitting: 0.25, Session: 0.49, Visit: 0.16, Closing: 2.56}
	aim := Aim{MarginDB: 3, Confidence: 0.95, Power: 0.8}
	costs := Costs{Closing: 1, Session: 20, Box: 5, Fitting: 5}
	limits := Limits{Least: Layout{Boxes: 2, Sessions: 2}}
	for i, tt := range []struct {
		archive Layout
		least   float64 // of the mean power
	}{
		{Layout{4, 3, 4}, 0.5},
		{Layout{6, 5, 5}, 0.6},
		{Layout{12, 8, 4}, 0.7},
		{Layout{30, 12, 4}, 0.75},
	} {
		draw := rand.New(rand.NewPCG(20310504, uint64(i)))
		var powers []float64
		unreached := 0
		for range archives {
			y := drawn(draw, tt.archive, v, aim.MarginDB)
			visit := func(i int) int { return i / tt.archive.Closings }
			letter := func(k int) string { return string(rune('A' + k)) }
			p := past(y, func(i int) string { return letter(visit(i) / tt.archive.Sessions) }, same(""), func(i int) string { return letter(visit(i) % tt.archive.Sessions) })
			s, err := p.Estimate(Known{})
			if err != nil {
				t.Fatal(err)
			}
			r := newRule(s.Variances, aim)
			r.chi = chi
			o, err := (&Search{rules: []*rule{r}, costs: costs}).Cheapest(limits)
			if errors.Is(err, ErrOutOfReach) {
				unreached++
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			truth := newRule(v, aim)
			truth.chi = chi
			met, err := truth.outcome(o[0].Layout)
			if err != nil {
				t.Fatal(err)
			}
			powers = append(powers, met.Power)
		}
		slices.Sort(powers)
		mean := 0.0
		for _, p := range powers {
			mean += p / float64(len(powers))
		}
		at := func(share float64) float64 { return powers[int(share*float64(len(powers)-1))] }
		t.Logf("%d boxes, %d sessions, %d closings each: %d archives, %d without a plan; power met: mean %.3f, 5 %% %.3f, median %.3f, 95 %% %.3f",
			tt.archive.Boxes, tt.archive.Sessions, tt.archive.Closings, archives, unreached, mean, at(0.05), at(0.5), at(0.95))
		if mean < tt.least || mean > 0.95 {
			t.Errorf("%+v: mean power %.3f", tt.archive, mean)
		}
	}
}
