package censored

import (
	"math"
	"slices"

	"sealbound/stats"
)

// A Line is the maximum-likelihood fit of value = Intercept + Slope x + error
// with normal errors, some values limited. Figures without an estimate are NaN.
type Line struct {
	Status           Status
	N, Limited       int
	Intercept, Slope float64 // in the unit of the values, and that per unit of x
	Sigma, LogSigma  float64 // divisor N of maximum likelihood
	SEIntercept      float64 // by the observed information
	SESlope          float64
	SELogSigma       float64
	LogLikelihood    float64

	model                         regression // in center and scale of both axes
	center, scale, xCenter, xUnit float64
}

// FitLine fits a straight line; where limited, the value is a limit that the
// attenuation is above. A nil limited means that none is. There is no estimate
// where the likelihood has no maximum: see Status. The error speaks of columns
// of different length and of values that are not finite.
func FitLine(x, values []float64, limited []bool) (Line, error) {
	nan := math.NaN()
	f := Line{N: len(values), Intercept: nan, Slope: nan, Sigma: nan, LogSigma: nan, SEIntercept: nan, SESlope: nan, SELogSigma: nan, LogLikelihood: nan}
	if limited == nil {
		limited = make([]bool, len(values))
	}
	if len(limited) != len(values) || len(x) != len(values) {
		return f, errLengths
	}
	if err := finite("value", values); err != nil {
		return f, err
	}
	if err := finite("x", x); err != nil {
		return f, err
	}
	for _, l := range limited {
		if l {
			f.Limited++
		}
	}
	if f.Status = lineExists(x, values, limited); f.Status != Estimated {
		return f, nil
	}
	f.center, f.scale = unit(values)
	f.xCenter, f.xUnit = unit(x)
	f.model = regression{y: make([]float64, f.N), limited: slices.Clone(limited), x: [][]float64{make([]float64, f.N), make([]float64, f.N)}}
	for i, v := range values {
		f.model.y[i] = (v - f.center) / f.scale
		f.model.x[0][i], f.model.x[1][i] = 1, (x[i]-f.xCenter)/f.xUnit
	}
	at, logLik, ok := f.model.maximize()
	cov, ok2 := f.model.covariance(at)
	if !ok || !ok2 {
		f.Status = NotConverged
		return f, nil
	}
	a, b := at[0]/at[2], at[1]/at[2]
	back := f.xCenter / f.xUnit
	f.Slope, f.SESlope = b*f.scale/f.xUnit, math.Sqrt(cov[1][1])*f.scale/f.xUnit
	f.Intercept = f.center + f.scale*(a-b*back)
	f.SEIntercept = f.scale * math.Sqrt(cov[0][0]-2*back*cov[0][1]+back*back*cov[1][1])
	f.Sigma, f.SELogSigma = f.scale/at[2], math.Sqrt(cov[2][2])
	f.LogSigma = math.Log(f.Sigma)
	f.LogLikelihood = logLik - float64(f.N-f.Limited)*math.Log(f.scale)
	return f, nil
}

// Wald returns the slope with the bounds slope -/+ z SE, one-sided each.
func (f Line) Wald(confidence float64) stats.Estimate { return wald(f.Slope, f.SESlope, confidence) }

// Profile returns the slope with the bounds at which the profile likelihood has
// fallen by the chi-square cut, one-sided each.
func (f Line) Profile(confidence float64) stats.Estimate {
	return f.bounds(confidence, chiDrop(confidence))
}

// Calibrated is Profile with a cut that makes the bounds those of Student's t
// with N-2 degrees of freedom where nothing is limited.
func (f Line) Calibrated(confidence float64) stats.Estimate {
	e := f.bounds(confidence, tDrop(confidence, f.N, 2))
	e.DF = float64(f.N - 2)
	return e
}

func (f Line) bounds(confidence, drop float64) stats.Estimate {
	e := stats.Estimate{Value: f.Slope, SE: f.SESlope, DF: math.NaN(), Lower: math.NaN(), Upper: math.NaN(), Confidence: confidence}
	if f.Status == Estimated {
		lower, upper := f.model.bounds(1, drop)
		e.Lower, e.Upper = lower*f.scale/f.xUnit, upper*f.scale/f.xUnit
	}
	return e
}

// lineExists says whether the likelihood of a line has a maximum. It has none
// where a line can rise or turn for ever without losing a value seen or a
// limit, nor where one line passes exactly through all values seen and not
// below any limit (then the spread shrinks to nothing).
func lineExists(x, values []float64, limited []bool) Status {
	first, other := -1, -1 // two values seen at different x
	spread := false
	for i := range values {
		spread = spread || x[i] != x[0]
		switch {
		case limited[i]:
		case first < 0:
			first = i
		case other < 0 && x[i] != x[first]:
			other = i
		}
	}
	switch {
	case len(values) == 0:
		return NoReading
	case first < 0:
		return AllLimited
	case !spread:
		return SlopeFree
	case other < 0:
		return oneAgeSeen(x, values, limited, first)
	}
	_, scale := unit(values)
	slope := (values[other] - values[first]) / (x[other] - x[first])
	for i, v := range values {
		d := v - values[first] - slope*(x[i]-x[first])
		if limited[i] && d > 0 || !limited[i] && math.Abs(d) > 1e-12*scale {
			return Estimated
		}
	}
	return NoSpread
}

// oneAgeSeen is lineExists where all values seen are at the x of one of them:
// then the line can turn about that x.
func oneAgeSeen(x, values []float64, limited []bool, at int) Status {
	same := true
	low, high := math.Inf(-1), math.Inf(1) // slopes that clear every limit, through the value seen
	left, right := false, false
	for i, v := range values {
		d := x[i] - x[at]
		switch {
		case !limited[i]:
			same = same && v == values[at]
		case d > 0:
			right, low = true, max(low, (v-values[at])/d)
		case d < 0:
			left, high = true, min(high, (v-values[at])/d)
		default:
			same = same && v <= values[at]
		}
	}
	switch {
	case !left || !right:
		return SlopeFree
	case same && low <= high:
		return NoSpread
	}
	return Estimated
}
