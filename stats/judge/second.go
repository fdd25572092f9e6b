package judge

import (
	"fmt"

	"sealbound/stats/resample"
)

// bootstrapReplicates is enough for the third digit of a 0.95 bound.
const bootstrapReplicates = 4000

// fewClusters is how many units a bootstrap is at least worth drawing from.
const fewClusters = 3

// secondOpinion bounds the mean without a distribution: whole units of the topmost
// repeated level are drawn again and again, closings where nothing above them is
// repeated. With few units it is too narrow, so it never decides.
func (r *Result) secondOpinion(g groups, s Settings) string {
	m := r.Mean
	if m.Units < fewClusters || (m.Method != "t" && m.Method != "REML") {
		return ""
	}
	means := unitMeans(r.Values, g)
	b, err := resample.Bootstrap(len(means), resample.Mean(means),
		resample.Settings{Confidence: s.Confidence, Replicates: bootstrapReplicates, Seed: s.Seed})
	if err != nil {
		return ""
	}
	return fmt.Sprintf("second opinion without a distribution: bootstrap (BCa) of %d %s, %d replicates, seed %d: lower bound of the mean %s; too narrow with few of them, it decides nothing",
		len(means), plural(m.UnitName, len(means)), b.Replicates, s.Seed, db3(b.BCa.Lower))
}

// unitMeans averages the values within each unit of the topmost repeated level.
func unitMeans(values []float64, g groups) []float64 {
	for _, f := range g.all() {
		if f.Levels < 2 {
			continue
		}
		sums, n := make([]float64, f.Levels), make([]float64, f.Levels)
		for i, c := range f.Codes {
			sums[c], n[c] = sums[c]+values[i], n[c]+1
		}
		for c := range sums {
			sums[c] /= n[c]
		}
		return sums
	}
	return values
}
