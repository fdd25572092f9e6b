package compare

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"sealbound/stats"
	"sealbound/stats/mixed"
)

// A model is the common mixed model of some products.
type model struct {
	products []int32 // codes, one per column
	fit      *mixed.Fit
	levels   []string // the random levels, the residual last
	box      incidence
	session  incidence
	fittings []int // of each column
	// Levels that the products cannot be told from: each product has one unit.
	boxConfounded, sessionConfounded bool
	sessionIn                        bool // some level carries the sessions
	warnings                         []stats.Warning
	reason                           string // why there is no fit
	constant                         bool   // the values do not vary within products
}

// fitModel fits values (one per closing) of the products given. code holds the
// product of each closing, factors its box, fitting, session and visit.
func fitModel(values []float64, code, products []int32, factors []stats.Factor) model {
	m := model{products: products}
	column := make(map[int32]int32)
	for j, p := range products {
		column[p] = int32(j)
	}
	of := make([]int32, len(code))
	x := make([][]float64, len(products))
	for j := range x {
		x[j] = make([]float64, len(values))
	}
	for i, p := range code {
		of[i] = column[p]
		x[of[i]][i] = 1
	}
	m.box, m.session = incidenceOf(of, len(products), factors[0]), incidenceOf(of, len(products), factors[2])
	m.fittings = incidenceOf(of, len(products), factors[1]).unitsOf()
	levels, err := mixed.Separate(factors, len(values))
	if err != nil {
		m.reason = err.Error()
		return m
	}
	m.warnings = append(m.warnings, levels.Warnings...)
	terms := m.dropConfounded(levels.Terms, of)
	residual := levels.Residual
	for {
		m.levels = nil
		for _, t := range terms {
			m.levels = append(m.levels, t.Factor.Name)
		}
		m.levels = append(m.levels, residual)
		m.fit, err = mixed.Design{Y: values, X: x, Terms: terms, Residual: residual}.Fit(mixed.REML)
		if !errors.Is(err, mixed.ErrAliased) || len(terms) == 0 {
			break
		}
		// With the products in the model, less can be told apart than without: the
		// finest level joins what lies below it.
		last := terms[len(terms)-1].Factor.Name
		terms, residual = terms[:len(terms)-1], last+"+"+residual
		m.warnings = append(m.warnings, stats.Warning{Code: "levels-joined",
			Text: fmt.Sprintf("beside the products the data cannot tell the spread of %s from that of the levels below; they are one term, %s", last, residual)})
	}
	m.sessionIn = slices.ContainsFunc(m.levels, func(name string) bool { return slices.Contains(strings.Split(name, "+"), "session") })
	switch {
	case errors.Is(err, mixed.ErrConstant):
		m.constant = true
		m.reason = "the closings of each product do not vary (s = 0): no model, and nothing to hold a difference against"
	case errors.Is(err, mixed.ErrTooFew):
		m.reason = "no more closings than products: nothing tells their spread; close and read again"
	case errors.Is(err, mixed.ErrNoResidual):
		m.reason = "the closings of each fitting are equal to the last digit, so that no model fits; give the readings as they were taken"
	case err != nil:
		m.reason = "no model fits these closings: " + err.Error()
	}
	if err == nil {
		m.warnings = append(m.warnings, m.fit.Warnings...)
	}
	return m
}

// dropConfounded takes out the terms of which every product has one level only:
// their spread lies between the products and cannot be told from the products.
func (m *model) dropConfounded(terms []mixed.Term, of []int32) []mixed.Term {
	if len(m.products) < 2 {
		return terms
	}
	var kept []mixed.Term
	for _, t := range terms {
		if !incidenceOf(of, len(m.products), t.Factor).single() {
			kept = append(kept, t)
			continue
		}
		for _, name := range strings.Split(t.Factor.Name, "+") {
			m.boxConfounded = m.boxConfounded || name == "box"
			m.sessionConfounded = m.sessionConfounded || name == "session"
		}
	}
	return kept
}

// fitted reports whether there is a fit.
func (m model) fitted() bool { return m.reason == "" && m.fit != nil }

// contrast is a difference of two columns, or with b < 0 the mean of a.
func (m model) contrast(a, b int) (mixed.Contrast, error) {
	l := make([]float64, len(m.products))
	l[a] = 1
	if b >= 0 {
		l[b] = -1
	}
	k, err := m.fit.Contrast(l)
	if len(m.fit.Components) == 1 && err == nil {
		k.DF = float64(m.fit.N - m.fit.P) // one level: exactly the pooled ones
	}
	return k, err
}

// meanUnits is the number of units that a product's mean is replicated by: its
// boxes, or in one box (or where box and product cannot be told apart) its
// fittings.
func (m model) meanUnits(column int) (units int, level string) {
	if m.oneBox() {
		return m.fittings[column], "fitting"
	}
	return m.box.unitsOf()[column], "box"
}

func (m model) oneBox() bool { return len(m.box.met) == 1 || m.boxConfounded }

// differenceUnits is one more than the independent comparisons that can judge the
// spread of a difference; level names what replicates it. Products that hang
// together by boxes are compared within boxes, others between them.
func (m model) differenceUnits(a, b int) (units int, level string) {
	level = "boxes"
	if m.oneBox() {
		level = "fittings"
		for _, n := range m.fittings {
			units += n - 1
		}
	} else if d := m.box.design(); m.box.part[a] == m.box.part[b] {
		units = d.Within
	} else {
		units = d.Between
	}
	units = max(1, units)
	// Products that met in no session differ by sessions too.
	if m.sessionIn && len(m.session.met) > 1 && !m.session.share(a, b) {
		if n := max(1, m.session.design().Between); n < units {
			units, level = n, "sessions"
		}
	}
	return units + 1, level
}

// cells is the factor of the pairs of product and box that occur, in the place of
// the boxes: as if each product had boxes of its own.
func cells(code []int32, box stats.Factor) stats.Factor {
	f := stats.Factor{Name: box.Name, Codes: make([]int32, len(code))}
	at := make(map[[2]int32]int32)
	for i, p := range code {
		k := [2]int32{p, box.Codes[i]}
		c, ok := at[k]
		if !ok {
			c = int32(len(at))
			at[k] = c
		}
		f.Codes[i] = c
	}
	f.Levels = len(at)
	return f
}

// apart says why two products cannot be compared at all, empty where they can.
func (m model) apart(a, b int) string {
	switch {
	case m.boxConfounded && !m.box.share(a, b):
		return "products and boxes are confounded: each product was seen in one box only, so a difference between these products cannot be told from one between their boxes; test both products in the same box, or each in two boxes or more"
	case m.sessionConfounded && !m.session.share(a, b):
		return "products and sessions are confounded: each product was tested in one session only, so a difference between these products cannot be told from one between the sessions; test both products in the same session"
	}
	return ""
}
