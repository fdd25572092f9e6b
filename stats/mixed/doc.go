// Package mixed fits linear mixed models by restricted maximum likelihood:
// attenuations (dB) with random levels (box, fitting, session, visit) that may
// be nested or crossed, and fixed effects such as the product or the age.
//
// # Model
//
// Design holds y = X beta + sum_k Z_k b_k + e with independent normal b_k and
// e, one Term for each random level. Design.Fit estimates the variances (REML
// or ML), drops those estimated as zero and refits. Fit.Contrast gives any
// combination of the fixed effects with its standard error and Satterthwaite's
// degrees of freedom from the observed information; Fit.VarianceOf does the
// same for sums of variances, which bounds for the next value and for coverage
// need. Separate finds beforehand which levels the data can tell apart.
//
//	levels, err := mixed.Separate([]stats.Factor{box, fitting, session, visit}, len(y))
//	fit, err := mixed.Design{Y: y, Terms: levels.Terms, Residual: levels.Residual}.Fit(mixed.REML)
//	mean, err := fit.Contrast([]float64{1})
//	df, warnings := fit.SafeDF(mean.DF, boxes)
//
// # Notation
//
// theta are the relative covariance factors, beta the fixed effects, sigma the
// residual standard deviation, as in the literature on lme4; gamma = theta^2
// are variances over the residual variance. V is the covariance of y over
// sigma^2, P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1.
//
// # Method
//
// Values that share all random levels and covariates are reduced to count,
// mean and sum of squares. The longest chain of nested factors is eliminated
// unit by unit, the remaining factors as one dense block at the end, so the
// cost is linear in the values for any number of boxes as long as what crosses
// them has few levels (up to some hundreds). The derivatives in the variance
// parameters are exact: they are carried through the elimination. Nothing in
// the evaluation allocates, and all sums are serial.
//
// # Reproducibility
//
// A fit does not depend, to the bit, on the order of the rows. Renumbering the
// levels of a factor changes the order of summation and so the last digits (by
// less than 1e-8 of a variance in the tests): number levels by something fixed,
// such as their sorted labels.
package mixed
