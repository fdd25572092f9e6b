// Package censored estimates attenuations of which some are only known to be
// at least as high as the set-up can show: limited readings, right-censored in
// the statistician's word.
//
// Putting the limit in place of a limited reading is safe for a mean, which it
// can only lower, but not for a slope: early high values are cut, so wear looks
// smaller than it is. The estimates here model the limited readings instead.
// They rest on the normal distribution where no reading shows it, so they stand
// beside the demonstrated figures and never replace them.
//
// The limit of a limited reading is the headroom, which is settled before the
// lid is closed: open level less floor less margin. A limited reading may
// demonstrate a little more than its headroom, since its level may lie anywhere
// between the floor and the margin above it. That figure depends on the reading
// itself and is no limit in the likelihood: "limited" means exactly that the
// attenuation is above the headroom.
//
// Normal and Line fit a single sample and a straight line by maximum
// likelihood. TwoStep estimates the band values of closings, for a mixed model
// to work on. Nested is for the closings of a single frequency, with up to two
// nested random levels.
package censored
