package interval

import (
	"math"
	"slices"
	"sync/atomic"

	"sealbound/stats/dist"
)

// An angle is a node of the share sin^2 = X/(X+Y) of two independent chi-squares.
type angle struct{ sin2, cos2, weight float64 }

// An angles is the law of that share for p and r degrees of freedom, laid out for
// integrating over functions that are smooth but for one kink at a place given
// later. In the angle the density sin^(p-1) cos^(r-1) is smooth to both ends for
// whole p and r; few degrees of freedom leave mass far down towards an end, so the
// panels shrink there in proportion.
type angles struct {
	p, r, peak float64
	ends       []float64 // of the panels
	norm       float64
	fine       float64
	width      float64 // of the density at its mode
	sharp      float64 // relative width of the sharpest step in the distance from an end
	// drop is how far, in logarithms, density times distance from the end falls before it
	// is cut off: a chance of some exp(-drop).
	drop  float64
	plain []angle
}

const (
	// fewFreedom is up to how many degrees of freedom panels shrink towards an end.
	fewFreedom = 5
	shrink     = 4
)

func newAngles(p, r, sharp, drop, fine float64) *angles {
	a := &angles{p: p, r: r, fine: fine, width: 1 / math.Sqrt(2*(p+r-1)), sharp: sharp, drop: drop, norm: 1}
	place := &anglesEnds[(7*int(p)+int(r))%len(anglesEnds)]
	if e := place.Load(); e != nil && e.p == p && e.r == r && e.drop == drop {
		a.peak, a.ends = e.peak, e.ends
	} else {
		a.divide()
		place.Store(&anglesLaid{p, r, drop, a.peak, a.ends})
	}
	a.plain = a.nodes(nil, math.Inf(1))
	a.norm = 0
	for _, n := range a.plain {
		a.norm += n.weight
	}
	for k := range a.plain {
		a.plain[k].weight /= a.norm
	}
	return a
}

// What divide found last, for p, r and drop.
type anglesLaid struct {
	p, r, drop, peak float64
	ends             []float64 // read-only
}

var anglesEnds [64]atomic.Pointer[anglesLaid]

// divide finds the peak and the ends of the panels.
func (a *angles) divide() {
	p, r := a.p, a.r
	mid := math.Atan2(math.Sqrt(p), math.Sqrt(r))
	a.peak = a.log(mid)
	lo := a.cut(mid, func(x float64) float64 { return x })
	hi := math.Pi/2 - a.cut(math.Pi/2-mid, func(x float64) float64 { return math.Pi/2 - x })
	a.ends = []float64{lo}
	if p <= fewFreedom {
		for x := mid / shrink; x > lo*1.5; x /= shrink {
			a.ends = append(a.ends, x)
		}
	}
	if p <= fewFreedom || r <= fewFreedom {
		a.ends = append(a.ends, mid)
	}
	if r <= fewFreedom {
		for x := (math.Pi/2 - mid) / shrink; x > (math.Pi/2-hi)*1.5; x /= shrink {
			a.ends = append(a.ends, math.Pi/2-x)
		}
	}
	a.ends = append(a.ends, hi)
	slices.Sort(a.ends)
}

func (a *angles) log(x float64) float64 { return a.logOf(math.Sincos(x)) }

// logOf is log at the angle of that sine and cosine.
func (a *angles) logOf(sin, cos float64) float64 {
	l := -a.peak
	if a.p != 1 {
		l += (a.p - 1) * math.Log(sin)
	}
	if a.r != 1 {
		l += (a.r - 1) * math.Log(cos)
	}
	return l
}

// cut finds how near to an end the density still counts. from is the distance of the
// middle from that end, at the angle at that distance.
func (a *angles) cut(from float64, at func(float64) float64) float64 {
	mass := func(x float64) float64 { return a.log(at(x)) + math.Log(x/from) }
	lo, hi := math.Log(from)-60, math.Log(from)
	for range 12 {
		m := (lo + hi) / 2
		if mass(math.Exp(m)) < -a.drop {
			lo = m
		} else {
			hi = m
		}
	}
	return math.Exp(lo)
}

// nodes appends the nodes for a function with a kink at tan^2 = kink.
func (a *angles) nodes(to []angle, kink float64) []angle {
	at := math.Atan(math.Sqrt(kink))
	for k := 1; k < len(a.ends); k++ {
		lo, hi := a.ends[k-1], a.ends[k]
		if at > lo && at < hi {
			to = a.panel(to, lo, at)
			lo = at
		}
		to = a.panel(to, lo, hi)
	}
	return to
}

func (a *angles) panel(to []angle, lo, hi float64) []angle {
	half, mid := (hi-lo)/2, (hi+lo)/2
	if half <= 0 {
		return to
	}
	width := math.Min(a.width, a.sharp*math.Min(mid, math.Pi/2-mid))
	// Panels of little mass need fewer digits.
	mass := math.Exp(math.Max(a.log(lo+half/4), math.Max(a.log(mid), a.log(hi-half/4)))) * math.Min(1, 2*half/a.width)
	digits := 1 + math.Max(-0.7, math.Log10(math.Min(1, mass+1e-12))/9)
	n := int(math.Ceil(a.fine * digits * (6 + 1.1*math.Min(2*half/width, 400))))
	if n > dist.MostNodes {
		return a.panel(a.panel(to, lo, mid), mid, hi)
	}
	x, weight := dist.Legendre(max(n, 3))
	for k := range x {
		u := mid + half*x[k]
		s, c := math.Sincos(u)
		to = append(to, angle{s * s, c * c, half * weight[k] * math.Exp(a.logOf(s, c)) / a.norm})
	}
	return to
}
