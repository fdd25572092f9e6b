package wear

import (
	"math"
	"slices"

	"sealbound/stats/dist"
)

// mostPermuted are the sessions whose orders are all counted: 8! = 40,320.
const mostPermuted = 8

// A visited is the mean of a fitting's closings in one session.
type visited struct {
	session   int
	time      float64 // of the session: the mean of its closings
	age, mean float64
	n         int
	values    []float64
}

// visitsOf gathers the visits of each fitting in order of time. Sessions are
// renumbered by time.
func visitsOf(d Data, kept []int32, values []float64) (byFitting [][]visited, sessions []int32, times []float64) {
	s := sampleOf(d, kept, values, false)
	codes := subset(d.Session, kept, "session")
	sum, n := make([]float64, codes.Levels), make([]float64, codes.Levels)
	original := make([]int32, codes.Levels)
	for i, c := range codes.Codes {
		sum[c] += d.Years[kept[i]]
		n[c]++
		original[c] = d.Session.Codes[kept[i]]
	}
	order := make([]int, codes.Levels)
	for i := range order {
		order[i] = i
		sum[i] /= n[i]
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case sum[a] < sum[b]:
			return -1
		case sum[a] > sum[b]:
			return 1
		}
		return 0
	})
	rank := make([]int, len(order))
	for k, o := range order {
		rank[o] = k
		sessions, times = append(sessions, original[o]), append(times, sum[o])
	}
	byFitting = make([][]visited, s.fittings)
	at := make([]int, s.visit.Levels)
	for v := range at {
		at[v] = -1
	}
	for i, v := range s.visit.Codes {
		f := s.fitting.Codes[i]
		if at[v] < 0 {
			at[v] = len(byFitting[f])
			k := rank[codes.Codes[i]]
			byFitting[f] = append(byFitting[f], visited{session: k, time: times[k]})
		}
		x := &byFitting[f][at[v]]
		x.n++
		x.age += s.age[i]
		x.values = append(x.values, s.y[i])
	}
	for f := range byFitting {
		for k := range byFitting[f] {
			x := &byFitting[f][k]
			x.age /= float64(x.n)
			for _, y := range x.values {
				x.mean += y / float64(x.n)
			}
		}
		slices.SortFunc(byFitting[f], func(a, b visited) int { return a.session - b.session })
	}
	return byFitting, sessions, times
}

// rankOf is the test by rank. Every fitting is compared with itself alone, so that
// boxes and strips that differ do not matter:
//
//	S = sum over fittings and pairs of its sessions of sign(later mean - earlier mean)
//
// Without a trend every order of the sessions is equally likely. Fittings tested in
// the same sessions share their offsets, so a session keeps its values when the
// order is changed: ten boxes of three sessions show no more by rank than one. For
// one fitting this is the test of Mann and Kendall, exact to 300 sessions; for
// fittings that share sessions it is exact to 8 of them, else normal with the
// variance
//
//	Var S = (sum over pairs of C^2 + sum over sessions of R^2)/3
//
// C the sum of signs of a pair of sessions over fittings, R of a session against
// all others. The slope is the median over pairs of sessions within fittings.
func rankOf(d Data, kept []int32, values []float64) Rank {
	fittings, _, times := visitsOf(d, kept, values)
	r := Rank{P: math.NaN(), Least: math.NaN(), Slope: math.NaN()}
	var slopes []float64
	signs := make([][]int, len(times)) // C, antisymmetric
	for i := range signs {
		signs[i] = make([]int, len(times))
	}
	joined := newPartition(len(times))
	used := make([]bool, len(times))
	single := make(map[int]int) // fittings by block, found below
	for _, visits := range fittings {
		for j, b := range visits {
			for _, a := range visits[:j] {
				if a.age != b.age {
					slopes = append(slopes, (b.mean-a.mean)/(b.age-a.age))
				}
				c := sign(b.mean - a.mean)
				signs[a.session][b.session] += c
				signs[b.session][a.session] -= c
				used[a.session], used[b.session] = true, true
				joined.join(a.session, b.session)
			}
		}
	}
	if len(slopes) == 0 {
		r.Undefined = "no strip was tested at two ages"
		return r
	}
	r.Slope = median(slopes)
	r.Sessions = count(used)
	for _, visits := range fittings {
		if len(visits) > 1 {
			single[joined.root(visits[0].session)]++
		}
	}
	var exact []map[int]float64
	variance := 0.0
	r.Exact = true
	for root := range times {
		if joined.root(root) != root || !used[root] {
			continue
		}
		b := block{signs: signs}
		for s := range times {
			if used[s] && joined.root(s) == root {
				b.sessions, b.times = append(b.sessions, s), append(b.times, times[s])
			}
		}
		r.S += b.statistic(b.times)
		variance += b.variance()
		null, ok := b.null(single[root] == 1)
		r.Exact = r.Exact && ok
		exact = append(exact, null)
	}
	if !r.Exact {
		z := math.Max(0, math.Abs(float64(r.S))-1) / math.Sqrt(variance)
		r.P = math.Min(1, 2*dist.NormalSurvival(z))
		if !(variance > 0) {
			r.P = 1
		}
		r.Least = 0 // so many sessions can show anything
		return r
	}
	r.P, r.Least = tails(exact, r.S)
	return r
}

// A block is sessions that fittings link.
type block struct {
	sessions []int
	times    []float64
	signs    [][]int
}

// statistic is S with the times given to the sessions.
func (b block) statistic(times []float64) (s int) {
	for j := range b.sessions {
		for i := range j {
			s += b.signs[b.sessions[i]][b.sessions[j]] * sign(times[j]-times[i])
		}
	}
	return s
}

func (b block) variance() float64 {
	pairs, rows := 0.0, 0.0
	for i := range b.sessions {
		row := 0
		for j := range b.sessions {
			c := b.signs[b.sessions[i]][b.sessions[j]]
			row += c
			if j < i {
				pairs += float64(c * c)
			}
		}
		rows += float64(row * row)
	}
	return (pairs + rows) / 3
}

// null is the chance of each S without a trend.
func (b block) null(single bool) (map[int]float64, bool) {
	n := len(b.sessions)
	if single && n > mostPermuted {
		return b.kendall()
	}
	if n > mostPermuted {
		return nil, false
	}
	counts := make(map[int]float64)
	times := slices.Clone(b.times)
	orders := 1.0
	for k := 2; k <= n; k++ {
		orders *= float64(k)
	}
	permute(times, func() { counts[b.statistic(times)]++ })
	for s := range counts {
		counts[s] /= orders
	}
	return counts, true
}

// kendall is the null distribution of one fitting in many sessions, where no two
// means are equal and no two sessions of one time.
func (b block) kendall() (map[int]float64, bool) {
	n := len(b.sessions)
	for i := range n {
		for j := range i {
			if b.signs[b.sessions[i]][b.sessions[j]] == 0 || b.times[i] == b.times[j] {
				return nil, false
			}
		}
	}
	if n > 50 { // the normal approximation is good to three digits
		return nil, false
	}
	k := dist.MannKendall{N: n}
	out := make(map[int]float64)
	for s := -k.Pairs(); s <= k.Pairs(); s += 2 {
		out[s] = k.AtLeast(s) - k.AtLeast(s+2)
	}
	return out, true
}

// permute calls visit with every order of x (Heap's method).
func permute(x []float64, visit func()) {
	n := len(x)
	state := make([]int, n)
	visit()
	for i := 0; i < n; {
		if state[i] >= i {
			state[i] = 0
			i++
			continue
		}
		if i%2 == 0 {
			x[0], x[i] = x[i], x[0]
		} else {
			x[state[i]], x[i] = x[i], x[state[i]]
		}
		visit()
		state[i]++
		i = 0
	}
}

// tails returns the two-sided chance of s and the least that any value of S has:
// twice the smaller tail. The blocks are independent.
func tails(blocks []map[int]float64, s int) (p, least float64) {
	all := map[int]float64{0: 1}
	for _, b := range blocks {
		next := make(map[int]float64, len(all)+len(b))
		for _, x := range keys(all) {
			for _, y := range keys(b) {
				next[x+y] += all[x] * b[y]
			}
		}
		all = next
	}
	values := keys(all)
	down, up := 0.0, 0.0
	for _, v := range values {
		if v <= s {
			down += all[v]
		}
		if v >= s {
			up += all[v]
		}
	}
	p = math.Min(1, 2*math.Min(down, up))
	least = math.Min(1, 2*math.Min(all[values[0]], all[values[len(values)-1]]))
	return p, least
}

func keys(m map[int]float64) []int {
	out := make([]int, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// A partition joins sessions that a fitting links.
type partition []int

func newPartition(n int) partition {
	p := make(partition, n)
	for i := range p {
		p[i] = i
	}
	return p
}

func (p partition) root(i int) int {
	for p[i] != i {
		i = p[i]
	}
	return i
}

// join makes the lower root that of both.
func (p partition) join(i, j int) {
	a, b := p.root(i), p.root(j)
	p[max(a, b)] = min(a, b)
}

func sign(x float64) int {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	}
	return 0
}

func median(x []float64) float64 {
	slices.Sort(x)
	n := len(x)
	if n%2 == 1 {
		return x[n/2]
	}
	return x[n/2-1] + (x[n/2]-x[n/2-1])/2
}
