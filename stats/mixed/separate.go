package mixed

import (
	"fmt"
	"math"
	"slices"

	"sealbound/stats"
)

// Levels are the random levels that a set of values can tell apart.
type Levels struct {
	// Terms are random intercepts, from the coarsest candidate to the finest.
	// Where candidates group the values alike they are one term, named with
	// all of them: "box+fitting".
	Terms []Term
	// Residual names the error: "closing", with the candidates that have one
	// value per group before it: "visit+closing".
	Residual string
	// Constant lists the candidates with one level only: their spread is not
	// in the data at all.
	Constant []string
	Warnings []stats.Warning
}

// Separate sorts candidate factors, given from the coarsest to the finest (box,
// fitting, session, visit), into the terms that n values identify. The values
// themselves play no part. The answer depends neither on the order of the rows
// nor on how levels are numbered. A factor whose codes do not fit is ErrInput.
func Separate(factors []stats.Factor, n int) (Levels, error) {
	out := Levels{Residual: "closing"}
	for _, f := range factors {
		if err := checkFactor(f, n); err != nil {
			return Levels{}, err
		}
	}
	if n == 0 {
		return out, nil
	}
	type candidate struct {
		factor stats.Factor
		group  grouping
	}
	var kept []candidate
	residual := ""
	for _, f := range factors {
		g := newGrouping(f.Codes, f.Levels)
		if g.levels() == 1 {
			out.Constant = append(out.Constant, f.Name)
			continue
		}
		if g.levels() == n {
			residual += f.Name + "+"
			continue
		}
		at := slices.IndexFunc(kept, func(c candidate) bool {
			return c.group.levels() == g.levels() && g.nestedIn(c.group)
		})
		if at >= 0 { // the same partition
			kept[at].factor.Name += "+" + f.Name
			continue
		}
		kept = append(kept, candidate{f, g})
	}
	// Partitions that differ may still leave no information of their own.
	for len(kept) > 0 {
		keys := make([]grouping, len(kept))
		for i, c := range kept {
			keys[i] = c.group
		}
		cells := collapse(make([]float64, n), keys)
		cols := make([]randomColumn, len(kept))
		for i, c := range kept {
			cols[i] = randomColumn{name: c.factor.Name, codes: cells.codesAt(c.group), levels: c.group.levels()}
		}
		ones := make([]float64, len(cells.rows))
		for i := range ones {
			ones[i] = 1
		}
		dep, found := findDependence(cols, cells.count, [][]float64{ones}, n)
		if !found {
			break
		}
		// The finer term joins the residual if that is part of the
		// combination, else the nearest coarser term that is.
		i := dep.column
		name := kept[i].factor.Name
		kept = slices.Delete(kept, i, i+1)
		joined := ""
		if dep.weight == nil || math.Abs(dep.weight[0]) > 1e-6 {
			residual = name + "+" + residual
			joined = residual + out.Residual
		} else {
			for j := i; j > 0; j-- {
				if math.Abs(dep.weight[j]) > 1e-6 {
					kept[j-1].factor.Name += "+" + name
					joined = kept[j-1].factor.Name
					break
				}
			}
		}
		out.Warnings = append(out.Warnings, stats.Warning{Code: "levels-joined",
			Text: fmt.Sprintf("the data cannot tell the spread of %s from that of the other levels; they are one term, %s", name, joined)})
	}
	for _, c := range kept {
		out.Terms = append(out.Terms, Term{Factor: c.factor})
	}
	out.Residual = residual + out.Residual
	return out, nil
}
