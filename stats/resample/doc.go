// Package resample bounds a statistic of closings by the bootstrap: closings,
// or the clusters they come in, are drawn again with replacement and whole,
// and the statistic is worked out anew.
//
// It is a second opinion where the normal distribution of the usual bounds is
// in doubt, and no more. With few closings it is too narrow: the bootstrap
// standard error of a mean of n is sqrt((n-1)/n) of the usual one, and its
// levels are those of the normal distribution where Student's t is due. Ten
// closings drawn again still know only ten closings. Clusters must be the units
// that are independent: boxes, not the closings of a few boxes.
package resample
