// Package wear says what the retests of a seal show: how fast the attenuation
// falls, where its mean and lower bound stand on a date, and when they meet the
// target.
//
// The model is a line over the age of the strip (years), with random levels for
// what else differs:
//
//	band value = intercept + slope x age + box + fitting + fitting's own slope x age
//	           + session + visit + closing
//
// Sessions are crossed with boxes: the offset of a setting-up of the instruments
// is common to all boxes measured then, so ten boxes of one day are not ten
// witnesses of a trend. A fitting's own slope is told from two fittings with
// three sessions each; its age is centred.
//
// Limited readings hide wear where their limit stands for them: early, high
// values are cut. So their figures are never used: the points that were never
// limited are, else the limited readings are modelled (package censored).
//
// Ages and times are in years, attenuations in dB.
package wear
