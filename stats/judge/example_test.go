package judge_test

import (
	"fmt"
	"math"

	"sealbound/stats"
	"sealbound/stats/judge"
)

// one is a factor of which every closing has the same level.
func one(name string, closings int) stats.Factor {
	return stats.Factor{Name: name, Codes: make([]int32, closings), Levels: 1}
}

// Five closings of one box on one evening, read at two frequencies, against 50 dB.
// By hand: the means of the closings have mean 54.2 and SD 1.255; with t(0.95; 4) =
// 2.132 the lower bound of the mean is 54.2 - 2.132 x 1.255/sqrt(5), and with the
// tolerance factor 3.4066 nine closings of ten show 54.2 - 3.4066 x 1.255 at least.
// The reference was read once and nothing is known of its error, so the verdict
// holds in this set-up only.
func ExampleJudge() {
	readings := [][]float64{ // dB, by closing and point
		{55, 51}, {57, 53}, {56, 51}, {58, 54}, {55, 52},
	}
	n := len(readings)
	d := judge.Data{
		Closings: n,
		Box:      one("box", n), Fitting: one("fitting", n), Session: one("session", n), Run: one("run", n),
		Reference: one("reference", n), OwnReference: make([]bool, n), Opens: make([]judge.Open, 1),
		Points: 2, TargetDB: []float64{50, 50},
	}
	for closing, row := range readings {
		for point, db := range row {
			d.Closing, d.Point, d.DB = append(d.Closing, int32(closing)), append(d.Point, int32(point)), append(d.DB, db)
			d.Limited, d.FloorKnown, d.HeadroomDB = append(d.Limited, false), append(d.FloorKnown, true), append(d.HeadroomDB, 70)
		}
	}
	r, err := judge.Judge(d, judge.Settings{Confidence: 0.95, Coverage: 0.9, RaiseDB: 20, Seed: 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("mean %.1f dB, at least %.2f\n", r.Mean.Value, r.Mean.Lower)
	fmt.Printf("next closing at least %.2f, nine of ten at least %.2f\n", r.Next.LowerDB, r.Coverage.LowerDB)
	fmt.Printf("weakest: point %d, at least %.2f\n", r.Weakest.Point, r.Weakest.LowerDB)
	fmt.Printf("%s (mean), %s (weakest)\n", r.Verdicts[judge.OnMean], r.Verdicts[judge.OnWeakest])
	fmt.Printf("valid for %s; in this set-up only: %t\n", r.ValidFor, r.ThisSetup)
	// Output:
	// mean 54.2 dB, at least 53.00
	// next closing at least 51.27, nine of ten at least 49.92
	// weakest: point 1, at least 50.96
	// clears (mean), clears (weakest)
	// valid for this strip in this box, this session; in this set-up only: true
}

// A verdict from bounds alone. Undefined bounds never pass.
func ExampleEvidence_Verdict() {
	nan := math.NaN()
	for _, e := range []judge.Evidence{
		{LowerDB: 51.2, UpperDB: 54, UpperRaisedDB: 54, TargetDB: 50, HeadroomDB: 70},
		{LowerDB: 48.9, UpperDB: 52, UpperRaisedDB: 52, TargetDB: 50, HeadroomDB: 70},
		{LowerDB: 45.0, UpperDB: 48, UpperRaisedDB: 48, TargetDB: 50, HeadroomDB: 70},
		{LowerDB: 44.0, UpperDB: nan, UpperRaisedDB: nan, TargetDB: 50, HeadroomDB: 45, LimitedShare: 1},
		{LowerDB: nan, UpperDB: nan, UpperRaisedDB: nan, TargetDB: 50, HeadroomDB: 70},
	} {
		fmt.Println(e.Verdict())
	}
	// Output:
	// clears
	// undecided
	// falls short
	// out of reach
	// too few
}
