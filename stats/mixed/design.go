package mixed

import (
	"errors"
	"fmt"
	"math"

	"sealbound/stats"
)

// A Method is the likelihood that is maximised.
type Method int

const (
	// REML is the restricted likelihood: the variances allow for the fixed
	// effects having been estimated. The zero value.
	REML Method = iota
	// ML is the full likelihood, for comparing models with different fixed
	// effects. Its variances are too small in small samples.
	ML
)

// String gives the method's name.
func (m Method) String() string {
	switch m {
	case REML:
		return "REML"
	case ML:
		return "ML"
	}
	return fmt.Sprintf("Method(%d)", int(m))
}

// What can make a design unfit for a model. Errors returned by this package
// wrap one of these.
var (
	// ErrInput: lengths that differ, codes out of range, values that are not
	// finite, a term without a column.
	ErrInput = errors.New("mixed: malformed design")
	// ErrTooFew: not more values than fixed effects.
	ErrTooFew = errors.New("mixed: too few values")
	// ErrConstant: all values are equal, or the fixed effects fit them exactly.
	ErrConstant = errors.New("mixed: the values do not vary")
	// ErrRank: a fixed-effect column is a combination of the others.
	ErrRank = errors.New("mixed: fixed effects are linearly dependent")
	// ErrAliased: the data cannot tell a random term from the other terms, the
	// residual or the fixed effects. Separate avoids it.
	ErrAliased = errors.New("mixed: a random term is not identified")
	// ErrNoResidual: the residual variance is estimated as zero, as where the
	// values within each of the smallest groups are equal. One value for each
	// of those groups, their term left out, says the same and can be fitted.
	ErrNoResidual = errors.New("mixed: no spread within the groups")
	// ErrTooLarge: crossed factors with too many levels to be held densely.
	ErrTooLarge = errors.New("mixed: crossed factors have too many levels")
	// ErrNotConverged: the search ended without a stationary point.
	ErrNotConverged = errors.New("mixed: the search for the variances did not converge")
)

// A Term is a random effect: one draw for each level of Factor.
//
// With Slope nil it is a random intercept, named as the factor. With Slope set
// it is a random slope on that covariate (one number per value, any unit),
// named FACTOR_slope; Intercept adds the random intercept, and Correlated lets
// the two be correlated.
type Term struct {
	Factor     stats.Factor
	Slope      []float64
	Intercept  bool
	Correlated bool
}

// hasIntercept and hasSlope say which columns the term has.
func (t Term) hasIntercept() bool { return t.Slope == nil || t.Intercept }
func (t Term) hasSlope() bool     { return t.Slope != nil }
func (t Term) correlated() bool   { return t.Slope != nil && t.Intercept && t.Correlated }

// names are the components of the term, in order.
func (t Term) names() []string {
	var out []string
	if t.hasIntercept() {
		out = append(out, t.Factor.Name)
	}
	if t.hasSlope() {
		out = append(out, t.Factor.Name+"_slope")
	}
	return out
}

// A Design is a linear mixed model waiting for its variances:
//
//	y = X beta + sum_k Z_k b_k + e
//
// with independent normal b_k and e. Y is in dB. X is column-major; nil stands
// for the mean alone (one column of ones named "mean"). Residual names the
// error term; empty means "closing". Slices are only read; a Fit goes on referring
// to them, so they must stay as they are while it is in use.
type Design struct {
	Y        []float64
	X        [][]float64
	XNames   []string
	Terms    []Term
	Residual string
}

// residual is the name of the error component.
func (d Design) residual() string {
	if d.Residual == "" {
		return "closing"
	}
	return d.Residual
}

// fixed returns the fixed-effect columns with the default filled in.
func (d Design) fixed() [][]float64 {
	if d.X != nil {
		return d.X
	}
	ones := make([]float64, len(d.Y))
	for i := range ones {
		ones[i] = 1
	}
	return [][]float64{ones}
}

// fixedNames returns a name for each fixed effect.
func (d Design) fixedNames() []string {
	if d.X == nil {
		return []string{"mean"}
	}
	names := make([]string, len(d.X))
	for j := range names {
		if j < len(d.XNames) {
			names[j] = d.XNames[j]
		} else {
			names[j] = fmt.Sprintf("x%d", j+1)
		}
	}
	return names
}

// check refuses what no later step could make sense of.
func (d Design) check() error {
	n, p := len(d.Y), len(d.X)
	if d.X == nil {
		p = 1
	}
	if p == 0 {
		return fmt.Errorf("%w: no fixed effect", ErrInput)
	}
	if err := finite("values", d.Y); err != nil {
		return err
	}
	for j, x := range d.X {
		if len(x) != n {
			return fmt.Errorf("%w: fixed effect %d has %d rows, want %d", ErrInput, j+1, len(x), n)
		}
		if err := finite(fmt.Sprintf("fixed effect %d", j+1), x); err != nil {
			return err
		}
	}
	for _, t := range d.Terms {
		if err := checkFactor(t.Factor, n); err != nil {
			return err
		}
		if t.Slope == nil {
			continue
		}
		if len(t.Slope) != n {
			return fmt.Errorf("%w: slope of %s has %d rows, want %d", ErrInput, t.Factor.Name, len(t.Slope), n)
		}
		if err := finite("slope of "+t.Factor.Name, t.Slope); err != nil {
			return err
		}
	}
	if n <= p {
		return fmt.Errorf("%w: %d for %d fixed effects", ErrTooFew, n, p)
	}
	return nil
}

func checkFactor(f stats.Factor, n int) error {
	if len(f.Codes) != n {
		return fmt.Errorf("%w: factor %s has %d rows, want %d", ErrInput, f.Name, len(f.Codes), n)
	}
	for i, c := range f.Codes {
		if c < 0 || int(c) >= f.Levels {
			return fmt.Errorf("%w: factor %s row %d: code %d of %d levels", ErrInput, f.Name, i+1, c, f.Levels)
		}
	}
	return nil
}

// magnitudeLimit keeps sums of squares finite.
const magnitudeLimit = 1e100

func finite(what string, v []float64) error {
	for i, x := range v {
		if math.IsNaN(x) || math.Abs(x) > magnitudeLimit {
			return fmt.Errorf("%w: %s, row %d: %v", ErrInput, what, i+1, x)
		}
	}
	return nil
}
