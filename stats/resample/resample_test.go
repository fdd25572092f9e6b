package resample

import (
	"errors"
	"fmt"
	"math"
	"runtime"
	"testing"

	"sealbound/stats/internal/refcase"
)

func at(confidence float64) Settings { return Settings{Confidence: confidence} }

// Expected: complete enumeration in R and boot::boot.ci; the call stands beside
// each value in testdata/reference/cases/h_*.json.
func TestBootstrapOfAMean(t *testing.T) {
	for _, id := range []string{"h_syn8", "h_plantgrowth_trt1"} {
		t.Run(id, func(t *testing.T) {
			c := refcase.Load(t, id)
			y := c.Columns(t).Float("y")
			for _, confidence := range []float64{0.95, 0.975} {
				r, err := Exact(len(y), Mean(y), at(confidence))
				if err != nil {
					t.Fatal(err)
				}
				c.Check(t, "acceleration", r.Acceleration)
				c.Check(t, "exact.z0_strict", r.Bias)
				c.Check(t, "exact.boot_se", r.BCa.SE)
				lower, upper := fmt.Sprintf("%.3g", 1-confidence), fmt.Sprintf("%.3g", confidence)
				c.Check(t, "exact.percentile."+lower, r.Percentile.Lower)
				c.Check(t, "exact.percentile."+upper, r.Percentile.Upper)
				c.Check(t, "exact.bca."+lower, r.BCa.Lower)
				c.Check(t, "exact.bca."+upper, r.BCa.Upper)
				c.Check(t, "exact.bca_level."+lower, r.LowerLevel)
				c.Check(t, "exact.bca_level."+upper, r.UpperLevel)

				m, err := Bootstrap(len(y), Mean(y), Settings{Confidence: confidence, Replicates: 20000, Seed: 42})
				if err != nil {
					t.Fatal(err)
				}
				name := map[float64]string{0.95: "mc.bca90_", 0.975: "mc.bca95_"}[confidence]
				c.Check(t, name+"lower", m.BCa.Lower)
				c.Check(t, name+"upper", m.BCa.Upper)
				c.Check(t, "mc.boot_se", m.BCa.SE)
			}
		})
	}
}

// Expected: all resamples of clusters enumerated in R, cases h_*_clusters.
func TestClusters(t *testing.T) {
	for _, id := range []string{"h_rail_clusters", "h_dyestuff_unbalanced_clusters"} {
		t.Run(id, func(t *testing.T) {
			c := refcase.Load(t, id)
			cols := c.Columns(t)
			codes, labels := cols.Codes("cluster")
			n := len(labels)
			sums, sizes, means := make([]float64, n), make([]int, n), make([]float64, n)
			for i, y := range cols.Float("y") {
				sums[codes[i]] += y
				sizes[codes[i]]++
			}
			for k := range means {
				means[k] = sums[k] / float64(sizes[k])
			}
			for name, statistic := range map[string]Statistic{"obs_mean": PooledMean(sums, sizes), "mean_of_means": Mean(means)} {
				for _, confidence := range []float64{0.95, 0.975} {
					r, err := Exact(n, statistic, at(confidence))
					if err != nil {
						t.Fatal(err)
					}
					c.Check(t, "exact.se_"+name, r.Percentile.SE)
					c.Check(t, fmt.Sprintf("exact.percentile_%s.%.3g", name, 1-confidence), r.Percentile.Lower)
					c.Check(t, fmt.Sprintf("exact.percentile_%s.%.3g", name, confidence), r.Percentile.Upper)
				}
				r, _ := Exact(n, statistic, at(0.95))
				c.Check(t, map[string]string{"obs_mean": "obs_mean", "mean_of_means": "mean_of_cluster_means"}[name], r.BCa.Value)
			}
		})
	}
}

// The bootstrap standard error of a mean has the divisor n: sqrt((n-1)/n) of the
// usual one, a closed form. This is why it is too narrow.
func TestTooNarrow(t *testing.T) {
	y := []float64{61, 64.5, 66, 59, 70.25, 63}
	r, err := Exact(len(y), Mean(y), at(0.95))
	if err != nil {
		t.Fatal(err)
	}
	mean, ss := 0.0, 0.0
	for _, v := range y {
		mean += v / 6
	}
	for _, v := range y {
		ss += (v - mean) * (v - mean)
	}
	if want := math.Sqrt(ss/5/6) * math.Sqrt(5.0/6); math.Abs(r.BCa.SE-want) > 1e-12 {
		t.Errorf("SE %v, want %v", r.BCa.SE, want)
	}
	if len(r.Warnings) != 1 || r.Warnings[0].Code != "few-clusters" {
		t.Errorf("warnings %v", r.Warnings)
	}
}

func TestReproducible(t *testing.T) {
	y := make([]float64, 25)
	for i := range y {
		y[i] = float64(i*i%17) + 60
	}
	s := Settings{Confidence: 0.95, Replicates: 999, Seed: 7}
	want, err := Bootstrap(len(y), Mean(y), s)
	if err != nil {
		t.Fatal(err)
	}
	if len(want.Warnings) != 0 {
		t.Errorf("warnings with 25 clusters: %v", want.Warnings)
	}
	for _, procs := range []int{1, 2, 5} {
		old := runtime.GOMAXPROCS(procs)
		got, _ := Bootstrap(len(y), Mean(y), s)
		runtime.GOMAXPROCS(old)
		if g, w := got.BCa, want.BCa; g.SE != w.SE || g.Lower != w.Lower || g.Upper != w.Upper || got.Percentile.Lower != want.Percentile.Lower {
			t.Errorf("%d processors: %+v, want %+v", procs, g, w)
		}
	}
	s.Seed++
	if got, _ := Bootstrap(len(y), Mean(y), s); got.BCa.SE == want.BCa.SE {
		t.Error("another seed gives the same resamples")
	}
}

// Laws: bounds move with a shift, and turn over with the sign.
func TestBootstrapLaws(t *testing.T) {
	y := []float64{61, 64.5, 66, 59, 70.25, 63}
	up, minus := make([]float64, 6), make([]float64, 6)
	for i, v := range y {
		up[i], minus[i] = v+100, -v
	}
	a, _ := Exact(6, Mean(y), at(0.9))
	b, _ := Exact(6, Mean(up), at(0.9))
	c, _ := Exact(6, Mean(minus), at(0.9))
	if math.Abs(b.BCa.Lower-a.BCa.Lower-100) > 1e-9 || math.Abs(b.BCa.Upper-a.BCa.Upper-100) > 1e-9 {
		t.Errorf("shift: %+v, %+v", a.BCa, b.BCa)
	}
	if math.Abs(c.Acceleration+a.Acceleration) > 1e-12 || math.Abs(c.Percentile.SE-a.Percentile.SE) > 1e-12 {
		t.Errorf("sign: %+v, %+v", a, c)
	}
	if !(a.BCa.Lower < a.BCa.Value && a.BCa.Value < a.BCa.Upper) {
		t.Errorf("%+v", a.BCa)
	}
}

func TestWithoutBounds(t *testing.T) {
	equal, err := Exact(4, Mean([]float64{60, 60, 60, 60}), at(0.95))
	if err != nil || equal.BCa.Defined() || equal.BCa.Value != 60 || equal.Percentile.SE != 0 {
		t.Errorf("equal values: %+v, %v", equal, err)
	}
	// Undefined where cluster 0 is not drawn: in (3/4)^4 of all resamples.
	some, _ := Exact(4, func(counts []int) float64 {
		if counts[0] == 0 {
			return math.NaN()
		}
		return float64(counts[1])
	}, at(0.95))
	if some.Percentile.Defined() || some.BCa.Defined() || some.Undefined == 0 {
		t.Errorf("undefined resamples: %+v", some)
	}
	never, _ := Bootstrap(4, func([]int) float64 { return math.Inf(1) }, Settings{Confidence: 0.95, Replicates: 100})
	if never.Percentile.Defined() || !math.IsNaN(never.BCa.Value) || never.Replicates != 0 {
		t.Errorf("never defined: %+v", never)
	}
	for name, s := range map[string]Settings{
		"confidence":     {Confidence: 1, Replicates: 100},
		"no confidence":  {Replicates: 100},
		"not a number":   {Confidence: math.NaN(), Replicates: 100},
		"few replicates": {Confidence: 0.95, Replicates: 99},
	} {
		if _, err := Bootstrap(4, Mean(make([]float64, 4)), s); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, err := Exact(1, Mean([]float64{1}), at(0.95)); !errors.Is(err, ErrTooFew) {
		t.Errorf("one cluster: %v", err)
	}
	if _, err := Exact(11, Mean(make([]float64, 11)), at(0.95)); !errors.Is(err, ErrTooMany) {
		t.Errorf("eleven clusters: %v", err)
	}
}
