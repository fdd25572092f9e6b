package spread

import (
	"math"

	"sealbound/stats"
	"sealbound/stats/dist"
	"sealbound/stats/interval"
)

// significance is the level of each test for outliers (what ISO 5725-2 flags
// at 5 % it calls a straggler; from memory).
const significance = 0.05

// Kind is a test together with the level that it looks at.
type Kind string

// The tests. Grubbs is two-sided: the value farthest from the mean of its like, in
// SDs. Cochran is upper: the largest variance over the sum of all. Mandel's h is
// two-sided, a unit's distance from the mean of all units in SDs; k is upper, a
// unit's SD over the pooled one. Grubbs and Cochran allow for the number of values
// that they look at, Mandel's h and k look at each unit for itself.
const (
	GrubbsClosing Kind = "Grubbs closing" // within its visit
	GrubbsVisit   Kind = "Grubbs visit"   // within its fitting
	GrubbsBox     Kind = "Grubbs box"
	CochranVisit  Kind = "Cochran visit"
	CochranBox    Kind = "Cochran box"
	MandelHVisit  Kind = "Mandel h visit"
	MandelHBox    Kind = "Mandel h box"
	MandelKVisit  Kind = "Mandel k visit"
	MandelKBox    Kind = "Mandel k box"
)

// An Outlier is a closing, visit or box that a test flags. It stays in the data.
type Outlier struct {
	Kind                Kind
	Closing             int32   // code of the closing, or of the unit's first closing
	DB                  float64 // its value, its mean (at the mean age where age is in the model) or SD, dB
	Statistic, Critical float64
}

// A unit is a visit or a box: the mean of its parts, and the spread of its closings
// about the means of their visits.
type unit struct {
	first    int // its first closing, by position
	mean     float64
	variance float64 // of closings within visits; NaN without repeats
	df       float64
}

// outliers looks for what stands out, from the closings to the boxes.
func (r *Result) outliers(values []float64, factors []stats.Factor) {
	box, fitting, visit := factors[0], factors[1], factors[3]
	visits := units(values, visit)
	closingsOf := members(visit)
	for _, of := range closingsOf {
		r.grubbs(GrubbsClosing, pick(values, of), of)
	}
	fittings := make([][]int, fitting.Levels) // visits of each
	boxes := make([][]int, box.Levels)        // fittings of each
	for v, of := range closingsOf {
		f := fitting.Codes[of[0]]
		if len(fittings[f]) == 0 {
			b := box.Codes[of[0]]
			boxes[b] = append(boxes[b], int(f))
		}
		fittings[f] = append(fittings[f], v)
	}
	strip := make([]unit, len(fittings))
	for f, of := range fittings {
		strip[f] = pooled(visits, of)
		if len(of) > 1 {
			r.grubbs(GrubbsVisit, means(visits, of), firsts(visits, of))
		}
	}
	every := make([]unit, len(boxes))
	for b, of := range boxes {
		every[b] = pooled(strip, of)
	}
	all := indexes(len(every))
	if len(every) > 1 {
		r.grubbs(GrubbsBox, means(every, all), firsts(every, all))
		r.cochran(CochranBox, every)
		r.mandel(MandelHBox, MandelKBox, every)
	}
	if len(visits) > len(every) {
		r.cochran(CochranVisit, visits)
		if len(strip) == 1 {
			r.mandel(MandelHVisit, MandelKVisit, visits)
		}
	}
}

// units are the groups of f with their means and variances.
func units(values []float64, f stats.Factor) []unit {
	of := members(f)
	out := make([]unit, len(of))
	for k, m := range of {
		u := unit{first: m[0], variance: nan, df: float64(len(m) - 1)}
		var sd float64
		u.mean, sd, _ = interval.MeanSD(pick(values, m)) // values were finite before
		if len(m) > 1 {
			u.variance = sd * sd
		}
		out[k] = u
	}
	return out
}

// pooled joins units: the plain mean of their means, the pooled variance.
func pooled(parts []unit, of []int) unit {
	u := unit{first: parts[of[0]].first}
	ss := 0.0
	for _, i := range of {
		p := parts[i]
		u.mean += p.mean / float64(len(of))
		u.first = min(u.first, p.first)
		if p.df > 0 {
			ss, u.df = ss+p.df*p.variance, u.df+p.df
		}
	}
	u.variance = ss / u.df // NaN without repeats
	return u
}

// grubbs tests the value farthest from the mean. first are the positions to name.
func (r *Result) grubbs(k Kind, x []float64, first []int) {
	if len(x) < 3 {
		return
	}
	mean, sd, err := interval.MeanSD(x)
	if err != nil || !(sd > alike) {
		return
	}
	r.Tests++
	far := 0
	for i, v := range x {
		if math.Abs(v-mean) > math.Abs(x[far]-mean) {
			far = i
		}
	}
	r.flag(k, first[far], x[far], math.Abs(x[far]-mean)/sd, dist.Grubbs{N: len(x), TwoSided: true}.Critical(significance))
}

// cochran tests the largest variance. With equal numbers of closings the statistic
// is s^2 max / sum s^2; with unequal ones each is weighted by its degrees of
// freedom, and the unit is taken whose share is the least likely:
//
//	G_i = df_i s_i^2/sum df s^2    critical 1/(1 + (df/df_i - 1)/F), F upper alpha/p at df_i, df - df_i
//
// which is Cochran's where all df_i are equal. Source: R. U. E. 't Lam, Analytica
// Chimica Acta 659 (2010) 68-84 (from memory).
func (r *Result) cochran(k Kind, of []unit) {
	p, df, ss := 0, 0.0, 0.0
	for _, u := range of {
		if u.df > 0 {
			p++
			df, ss = df+u.df, ss+u.df*u.variance
		}
	}
	if p < 2 || !(ss > alike*alike*df) {
		return
	}
	r.Tests++
	var worst unit
	var statistic, critical, excess float64
	for _, u := range of {
		if !(u.df > 0) {
			continue
		}
		g, limit := u.df*u.variance/ss, cochranCritical(p, u.df, df)
		if e := g / limit; e > excess {
			worst, statistic, critical, excess = u, g, limit, e
		}
	}
	r.flag(k, worst.first, math.Sqrt(worst.variance), statistic, critical)
}

// cochranCritical is that of one of p variances with df of the degrees of freedom of
// them all.
func cochranCritical(p int, df, all float64) float64 {
	f := dist.FQuantile(1-significance/float64(p), df, all-df)
	return 1 / (1 + (all/df-1)/f)
}

// mandel looks at the consistency of three units or more:
//
//	h_i = (mean_i - mean of means)/SD of means    critical (p-1) t/sqrt(p (t^2+p-2)), t two-sided at p-2
//	k_i = s_i/s_r                                 critical sqrt((df/df_i)/(1 + (df/df_i - 1)/F)), F upper at df_i, df - df_i
//
// Source: ISO 5725-2:1994, 7.3.1 (clause from memory), for equal numbers of closings (df = p df_i).
func (r *Result) mandel(h, k Kind, of []unit) {
	p := float64(len(of))
	if p < 3 {
		return
	}
	all := indexes(len(of))
	mean, sd, err := interval.MeanSD(means(of, all))
	if err == nil && sd > alike {
		critical := mandelHCritical(p)
		r.Tests += len(of)
		for _, u := range of {
			r.flag(h, u.first, u.mean, math.Abs(u.mean-mean)/sd, critical)
		}
	}
	df, ss := 0.0, 0.0
	for _, u := range of {
		if u.df > 0 {
			df, ss = df+u.df, ss+u.df*u.variance
		}
	}
	if !(ss > alike*alike*df) {
		return
	}
	for _, u := range of {
		if !(u.df > 0 && u.df < df) {
			continue
		}
		r.Tests++
		r.flag(k, u.first, math.Sqrt(u.variance), math.Sqrt(u.variance/(ss/df)), mandelKCritical(u.df, df))
	}
}

func mandelHCritical(p float64) float64 {
	t := dist.TQuantile(1-significance/2, p-2)
	return (p - 1) * t / math.Sqrt(p*(t*t+p-2))
}

func mandelKCritical(df, all float64) float64 {
	f := dist.FQuantile(1-significance, df, all-df)
	return math.Sqrt(all / df / (1 + (all/df-1)/f))
}

// flag keeps what lies beyond the critical value. Positions become codes.
func (r *Result) flag(k Kind, first int, db, statistic, critical float64) {
	if statistic > critical {
		r.Outliers = append(r.Outliers, Outlier{k, int32(first), db, statistic, critical})
	}
}

// members lists the positions in each group of f.
func members(f stats.Factor) [][]int {
	of := make([][]int, f.Levels)
	for i, c := range f.Codes {
		of[c] = append(of[c], i)
	}
	return of
}

func indexes(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

func pick(x []float64, of []int) []float64 {
	out := make([]float64, len(of))
	for k, i := range of {
		out[k] = x[i]
	}
	return out
}

func means(of []unit, which []int) []float64 {
	out := make([]float64, len(which))
	for k, i := range which {
		out[k] = of[i].mean
	}
	return out
}

func firsts(of []unit, which []int) []int {
	out := make([]int, len(which))
	for k, i := range which {
		out[k] = of[i].first
	}
	return out
}
