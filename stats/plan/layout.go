package plan

import (
	"fmt"
	"math"

	"sealbound/stats/dist"
	"sealbound/stats/interval"
)

// Variances are the components of the spread of one closing's band value, dB^2.
type Variances struct {
	Box     float64 // from box to box
	Fitting float64 // from strip to strip in one box
	Session float64 // from session to session, shared by all boxes measured in it
	Visit   float64 // from session to session, of one box alone
	Closing float64 // from closing to closing
}

// A Layout is a balanced plan: every box, with one strip that stays in, is
// measured in every session.
type Layout struct {
	Boxes, Sessions int
	Closings        int // of each box in each session
}

// Total returns the number of closings in all.
func (l Layout) Total() int { return l.Boxes * l.Sessions * l.Closings }

// The largest layout that is evaluated.
const (
	MostBoxes            = 40
	MostSessions         = 12
	MostClosingsPerVisit = 30
)

// An Outcome is what a layout gives.
type Outcome struct {
	Layout      Layout
	VarianceDB2 float64 // of the mean, dB^2
	SEDB        float64 // its root, dB
	DF          float64 // Satterthwaite, from the expected mean squares, within 1 and units - 1
	Power       float64 // that the lower bound clears the target
	Cost        float64 // 0 where no costs were given
}

// Evaluate returns what a layout gives under these variances.
//
//	variance of the mean = (box+fitting)/B + session/S + visit/(BS) + closing/(BSn)
//
// DF is Satterthwaite's for that combination of expected mean squares (terms
// whose variance is 0 left out), at most one less than the units of the topmost
// level with more than one: boxes, then sessions, then closings.
//
// Power is not the power of a t test with DF: with few sessions or boxes that is
// wrong by up to a fifth, since the analysis sees estimated components, drops
// those that come out as zero, and takes its degrees of freedom from what it
// estimates. Instead the analysis itself is averaged over what the mean squares
// may turn out to be (see power.go); where one stratum decides it is the exact t
// test.
//
// A level that varies must be repeated, or the bound cannot speak of it: with
// one box, Box and Fitting must be 0 (the answer is for this strip in this box);
// with one session, Session must be 0 (for this set-up on this day), and with one
// of each Visit too. It returns ErrDomain otherwise, and for a layout or a
// variance outside its domain.
func Evaluate(l Layout, v Variances, aim Aim) (Outcome, error) {
	if err := aim.check(); err != nil {
		return Outcome{}, err
	}
	if err := v.check(); err != nil {
		return Outcome{}, err
	}
	if err := l.check(); err != nil {
		return Outcome{}, err
	}
	if reason := l.unrepeated(v); reason != "" {
		return Outcome{}, fmt.Errorf("plan: %w: %s", interval.ErrDomain, reason)
	}
	return newRule(v, aim).outcome(l)
}

func (v Variances) check() error {
	if err := notNegative("variance", v.Box, v.Fitting, v.Session, v.Visit, v.Closing); err != nil {
		return err
	}
	total := v.Box + v.Fitting + v.Session + v.Visit + v.Closing
	if err := finite("variance", total); err != nil {
		return err
	}
	if total == 0 {
		return fmt.Errorf("plan: %w: without spread there is nothing to plan", interval.ErrDomain)
	}
	return nil
}

func (l Layout) check() error {
	if l.Boxes < 1 || l.Boxes > MostBoxes || l.Sessions < 1 || l.Sessions > MostSessions || l.Closings < 1 || l.Closings > MostClosingsPerVisit {
		return fmt.Errorf("plan: %w: %d boxes, %d sessions, %d closings: each is at least 1 and at most %d, %d and %d",
			interval.ErrDomain, l.Boxes, l.Sessions, l.Closings, MostBoxes, MostSessions, MostClosingsPerVisit)
	}
	return nil
}

// unrepeated says which level varies but is not repeated; "" for none.
func (l Layout) unrepeated(v Variances) string {
	switch {
	case l.Total() == 1:
		return "one closing shows no spread"
	case l.Boxes == 1 && v.Box+v.Fitting > 0:
		return "one box does not show how boxes and fittings differ"
	case l.Sessions == 1 && v.Session > 0:
		return "one session does not show how sessions differ"
	case l.Boxes == 1 && l.Sessions == 1 && v.Visit > 0:
		return "one visit does not show how visits differ"
	}
	return ""
}

// strata are the mean squares of a layout: what is expected of each, dB^2, and
// its degrees of freedom, 0 where the layout does not have it. Box and session
// strata join the visit where they are not crossed.
type strata struct {
	n                               float64 // closings in all
	box, session, visit, closing    float64
	dfBox, dfSession, dfVisit, dfIn float64
	top                             float64 // largest df that the analysis admits
}

func (l Layout) strata(v Variances) strata {
	b, s, n := float64(l.Boxes), float64(l.Sessions), float64(l.Closings)
	visit := n*v.Visit + v.Closing
	m := strata{
		n:   b * s * n,
		box: s*n*(v.Box+v.Fitting) + visit, session: b*n*v.Session + visit, visit: visit, closing: v.Closing,
		dfBox: b - 1, dfSession: s - 1, dfVisit: (b - 1) * (s - 1), dfIn: b * s * (n - 1),
	}
	switch {
	case b > 1:
		m.top = b - 1
	case s > 1:
		m.top = s - 1
	default:
		m.top = n - 1
	}
	return m
}

// variance of the mean, dB^2. Where box or session is not repeated its component
// is 0, and the formula holds as it stands.
func (m strata) variance() float64 { return (m.box + (m.session - m.visit)) / m.n }

// df is Satterthwaite's, for the terms with a positive variance.
func (m strata) df() float64 {
	var df float64
	switch boxes, sessions := m.box > m.visit, m.session > m.visit; {
	case boxes && sessions:
		rest := m.dfVisit
		if m.visit == m.closing { // no visit term: its stratum joins the closings'
			rest += m.dfIn
		}
		df = satterthwaite(m.box, m.dfBox, m.session, m.dfSession, m.visit, rest)
	case boxes:
		df = m.dfBox
	case sessions:
		df = m.dfSession
	case m.visit > m.closing: // visits are the units
		df = m.dfBox + m.dfSession + m.dfVisit
	default:
		df = m.n - 1
	}
	return math.Max(1, math.Min(df, m.top))
}

// satterthwaite returns the degrees of freedom of a + b - c, c >= 0 the smallest.
func satterthwaite(a, dfA, b, dfB, c, dfC float64) float64 {
	q := a + (b - c)
	a, b, c = a/q, b/q, c/q
	return 1 / (a*a/dfA + b*b/dfB + c*c/dfC)
}

// knownPower is the power if the variance of the mean were known.
func knownPower(marginDB, se, confidence float64) float64 {
	return dist.NormalSurvival(dist.NormalQuantile(confidence) - marginDB/se)
}
