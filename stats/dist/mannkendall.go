package dist

import "math"

// MannKendall is the distribution of Mann and Kendall's S when there is no
// trend: every order of the N values is equally likely. S is the number of pairs
// that rise with time less the number that fall.
//
// Ties holds the sizes of the groups of equal values (sizes of 1 may be left
// out); pairs of equal values count 0. Times are distinct.
//
// Domain: N >= 1, sizes >= 1 that sum to at most N. Outside it methods return
// NaN. Up to N = 170 the orders are counted exactly (floating point keeps the counts whole
// up to 2^53: N = 18); up to MaxExactKendall their shares are; beyond, the
// normal approximation with a continuity correction of 1 is used.
//
// The number of inversions of a sequence with ties is counted by the Gaussian
// multinomial coefficient (MacMahon). Source: H. B. Mann, Econometrica 13 (1945)
// 245-259; M. G. Kendall, Rank Correlation Methods (from memory).
type MannKendall struct {
	N    int
	Ties []int
}

// MaxExactKendall is the largest N whose distribution is counted.
const MaxExactKendall = 200

func (d MannKendall) valid() bool {
	tied := 0
	for _, t := range d.Ties {
		if t < 1 || t > d.N {
			return false
		}
		tied += t
	}
	return d.N >= 1 && tied <= d.N
}

// Pairs returns the number of pairs of different values, the largest S.
func (d MannKendall) Pairs() int {
	if !d.valid() {
		return 0
	}
	p := d.N * (d.N - 1) / 2
	for _, t := range d.Ties {
		p -= t * (t - 1) / 2
	}
	return p
}

// Variance returns the variance of S,
//
//	[n(n-1)(2n+5) - sum t(t-1)(2t+5)]/18
func (d MannKendall) Variance() float64 {
	if !d.valid() {
		return math.NaN()
	}
	v := func(n int) float64 { x := float64(n); return x * (x - 1) * (2*x + 5) / 18 }
	s := v(d.N)
	for _, t := range d.Ties {
		s -= v(t)
	}
	return s
}

// AtLeast returns P(S >= s), s included.
func (d MannKendall) AtLeast(s int) float64 {
	switch top := d.Pairs(); {
	case !d.valid():
		return math.NaN()
	case s <= -top:
		return 1
	case s > top:
		return 0
	}
	if d.N > MaxExactKendall {
		return NormalSurvival((float64(s) - 1) / math.Sqrt(d.Variance()))
	}
	orders, total := d.inversions()
	// S = Pairs - 2*inversions, so S >= s is few inversions.
	var sum float64
	for i := 0; d.Pairs()-2*i >= s; i++ {
		sum += orders[i]
	}
	return math.Min(sum/total, 1)
}

// TwoSided returns P(|S| >= |s|). The distribution is symmetric, with ties too,
// so this is twice the smaller tail, at most 1.
func (d MannKendall) TwoSided(s int) float64 {
	if s < 0 {
		s = -s
	}
	return math.Min(1, 2*d.AtLeast(s))
}

// Orders returns the number of distinguishable orders with exactly that S, of
// N!/(product of the factorials of the tie sizes) in all. It is NaN beyond
// N = 170, where the number overflows.
func (d MannKendall) Orders(s int) float64 {
	top := d.Pairs()
	switch {
	case !d.valid() || d.N > 170:
		return math.NaN()
	case s < -top || s > top || (top-s)%2 != 0:
		return 0
	}
	orders, _ := d.inversions()
	return orders[(top-s)/2]
}

// inversions returns, by number of inversions, the orders with that many, and
// the sum of all. Beyond N = 170 they are shares.
//
// The untied values enter one by one, each adding 0 to (values so far)
// inversions; then each group of ties enters as a block through a Gaussian
// binomial coefficient.
func (d MannKendall) inversions() (orders []float64, total float64) {
	share := d.N > 170
	single := d.N
	for _, t := range d.Ties {
		single -= t
	}
	orders, total = []float64{1}, 1
	for k := 2; k <= single; k++ {
		orders = convolveRun(orders, k)
		total *= float64(k)
		if share {
			rescale(orders, &total)
		}
	}
	placed := max(single, 0)
	for _, t := range d.Ties {
		block := gaussianBinomial(placed+t, t)
		var sum float64
		for _, b := range block {
			sum += b
		}
		orders = convolve(orders, block)
		total *= sum
		if share {
			rescale(orders, &total)
		}
		placed += t
	}
	return orders, total
}

func rescale(c []float64, total *float64) {
	for i := range c {
		c[i] /= *total
	}
	*total = 1
}

// convolveRun multiplies the polynomial c by 1 + q + ... + q^(k-1). c reads the
// same from both ends and rises to its middle; so does the product, whose first
// half is a sliding sum that only grows: whole numbers stay exact, and small ones are not
// lost beside large ones.
func convolveRun(c []float64, k int) []float64 {
	out := make([]float64, len(c)+k-1)
	var window float64
	for i := 0; 2*i < len(out); i++ {
		if i < len(c) {
			window += c[i]
		}
		if i >= k {
			window -= c[i-k]
		}
		out[i], out[len(out)-1-i] = window, window
	}
	return out
}

func convolve(a, b []float64) []float64 {
	out := make([]float64, len(a)+len(b)-1)
	for i, x := range a {
		for j, y := range b {
			out[i+j] += x * y
		}
	}
	return out
}

// gaussianBinomial returns the coefficients of the Gaussian binomial [n over k],
// the number of ways in which k equal values can stand among n - k others, by
// inversions: built up by
//
//	[n, j] = [n-1, j-1] + q^j [n-1, j]
func gaussianBinomial(n, k int) []float64 {
	row := make([][]float64, k+1) // row[j] = [m, j] for the current m
	row[0] = []float64{1}
	for m := 1; m <= n; m++ {
		for j := min(m, k); j >= 1; j-- {
			next := make([]float64, j*(m-j)+1)
			copy(next, row[j-1])
			if m > j {
				for i, v := range row[j] {
					next[i+j] += v
				}
			}
			row[j] = next
		}
	}
	return row[k]
}
