// Package dist holds the probability distributions that the statistics of
// attenuation rest on and that general libraries lack, or get wrong where
// testers of boxes meet them: noncentral t, studentized range, Dunnett's
// multivariate t, the exact null distribution of Mann-Kendall's S, and the
// critical values of Grubbs and Cochran. For the normal, t, chi-square, F and
// beta distributions it wraps gonum with guards.
//
// Nothing in this package panics. A parameter outside its domain, a NaN
// argument or a probability outside [0, 1] gives NaN; a quantile at the end of
// an unbounded support is infinite. Everything is deterministic: integrals are
// sums in a fixed order.
package dist
