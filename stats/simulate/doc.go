// Package simulate makes campaigns of closings and readings whose truth is
// known, so that every bound the statistics give can be held against what it
// bounds. It has no input or output of its own and uses no clock: the same
// Settings give the same campaign, bit for bit.
//
// The attenuation of one reading, in dB, is a sum:
//
//	A = mean(product, point) + (wear + slope(fitting)) * age
//	  + box + fitting + session + visit
//	  + closing - loss(bad closing) + residual(closing, point)
//
// Every term on the second and third line is drawn from a normal distribution
// around zero with the SD that Settings.SD gives, except the loss, which is
// zero for most closings and exponential for the bad ones. A session's draw
// serves every box measured in that session: sessions are crossed with boxes.
// The points of a closing are correlated because they share its draw.
//
// Each unit (a box, a session, a closing) draws from a stream of its own, made
// from the seed, the kind of draw and the unit's labels. Adding a box, a
// session or a product therefore leaves the draws of all others as they were.
//
// A Campaign yields the same measurements at three depths: Closings gives the
// band value of each closing (fast, for coverage tests), Grid the attenuation
// of each closing and point as it would be paired, with its limit, and EachSweep the levels
// that a receiver would have shown.
package simulate
