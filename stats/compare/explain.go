package compare

import (
	"fmt"
	"math"
	"strings"

	"sealbound/stats/dist"
)

// A Line is one line of an explanation: a formula with its values, dB, so that a
// reader can redo it with a pocket calculator and the tables of t and of the
// studentized range. It speaks of product A, of the difference of A and B, or with
// A = -1 of the whole; the caller has the labels.
type Line struct {
	A, B int32
	Text string
}

func (c *comparison) explain() {
	say := func(a, b int32, format string, args ...any) {
		c.r.Explain = append(c.r.Explain, Line{a, b, fmt.Sprintf(format, args...)})
	}
	average := "plain mean over its points in dB, adjusted for points that it lacks"
	if c.s.Power {
		average = "-10 log10 of its mean leaked share over points"
	}
	say(-1, -1, "band value of a closing = %s; points %d, closings %d", average, len(c.r.Points), len(c.r.Kept))
	d := c.r.Design
	say(-1, -1, "design: %s; independent comparisons within boxes = %d pairs - %d boxes - %d products + %d = %d, between boxes = %d",
		d, d.Cells, d.Boxes, d.Products, d.Parts, d.Within, d.Between)
	if c.model.fitted() {
		say(-1, -1, "model: product (fixed) + %s, by REML; log-likelihood %s", strings.Join(c.r.Levels, " + "), db4(c.r.LogLikelihood))
		for _, k := range c.r.Components {
			what := fmt.Sprintf("variance of %s = %s dB2 (SD %s)", k.Source, db4(k.Variance), db3(k.SD))
			if k.Dropped {
				what += ", dropped and refitted without"
			}
			say(-1, -1, "%s", what)
		}
	}
	for _, p := range c.r.Products {
		c.explainProduct(p, say)
	}
	for _, x := range c.pairs {
		c.explainPair(x, say)
	}
}

type sayer func(a, b int32, format string, args ...any)

func (c *comparison) explainProduct(p Product, say sayer) {
	if math.IsNaN(p.Lower) || p.Method == "" {
		say(p.Code, -1, "mean %s; no bound: %s", db3(p.Value), p.Reason)
		return
	}
	if p.Method == "sign" {
		say(p.Code, -1, "%s", p.Reason)
		return
	}
	if p.Own {
		say(p.Code, -1, "over a fifth of the readings may hide more, so it is bounded by its own %d closings alone", p.Closings)
	} else {
		units, level := c.model.meanUnits(p.column)
		say(p.Code, -1, "mean = %s, se = %s; degrees of freedom by Satterthwaite %s, kept within [1, %d - 1] by level %s = %s",
			db3(p.Value), db3(p.plainSE), trim(p.SatterthwaiteDF), units, level, trim(p.plainDF))
	}
	if u := p.ReferenceU; u.UDB > 0 {
		say(p.Code, -1, "shared open reference (%s): u = %s with %s degrees of freedom; combined with the se: %s with %s", u.Name,
			db3(u.UDB), trim(u.DF), db3(p.SE), trim(p.DF))
	}
	t := dist.TQuantile(c.s.Confidence, p.DF)
	say(p.Code, -1, "bounds = mean -+ t(%s; %s) x se = %s -+ %.4f x %s = %s, %s", trim(c.s.Confidence), trim(p.DF),
		db3(p.Value), t, db3(p.SE), db3(p.Lower), db3(p.Upper))
}

func (c *comparison) explainPair(x pair, say sayer) {
	switch {
	case x.open:
		say(x.A, x.B, "difference %s; no bounds: %s", db3(x.DB), x.Reason)
		return
	case x.boole != nil:
		say(x.A, x.B, "difference %s; bound = the lower bound of the one with hidden readings less the upper bound of the other, each with error %s / (4 x %d)",
			db3(x.DB), trim(1-c.s.Confidence), c.shown.pairs)
		return
	}
	units, level := c.within.differenceUnits(c.r.Products[c.indexOf(x.A)].column, c.r.Products[c.indexOf(x.B)].column)
	say(x.A, x.B, "difference = %s, se = %s; degrees of freedom by Satterthwaite %s, kept within [1, %d] by the comparisons that the %s replicate = %s",
		db3(x.DB), db3(x.SE), trim(x.SatterthwaiteDF), units-1, level, trim(x.DF))
	t := c.shown.critical(x.base.df)
	factor := fmt.Sprintf("q(%s; %d, %s) / square root of 2", trim(c.s.Confidence), c.shown.k, trim(x.base.df))
	switch c.shown.name {
	case Dunnett:
		factor = fmt.Sprintf("Dunnett's two-sided factor for %d differences at %s degrees of freedom", c.shown.pairs, trim(x.base.df))
	case Holm:
		factor = fmt.Sprintf("t(1 - %s / (2 x %d); %s)", trim(1-c.s.Confidence), c.shown.pairs, trim(x.base.df))
	}
	say(x.A, x.B, "bounds = difference -+ %s x se = %s -+ %.4f x %s; p adjusted (%s) = %s", factor, db3(x.DB), t, db3(x.SE), c.shown.name, trim(x.P))
	if x.upA != nil || x.upB != nil {
		say(x.A, x.B, "with the hidden readings raised by %s dB, outermost: bounds %s, %s", trim(c.s.RaiseDB), db3(x.Lower), db3(x.Upper))
	}
	if c.s.EquivalentDB > 0 {
		say(x.A, x.B, "less than %s dB apart: two one-sided t tests, t = (%s - |difference|) / se; p adjusted (Holm) = %s",
			trim(c.s.EquivalentDB), trim(c.s.EquivalentDB), trim(x.EquivalentP))
	}
}

func db3(x float64) string { return fmt.Sprintf("%.3f", x) }
func db4(x float64) string { return fmt.Sprintf("%.4f", x) }

// trim prints with four significant digits at most.
func trim(x float64) string {
	switch {
	case math.IsInf(x, 1):
		return "unlimited"
	case math.IsNaN(x):
		return "not defined"
	}
	return fmt.Sprintf("%.4g", x)
}
