package simulate

import (
	"math"
	"math/rand/v2"
)

// A kind tells the streams of one unit apart.
type kind uint64

const (
	boxDraw kind = iota + 1
	fittingDraw
	slopeDraw
	sessionDraw
	visitDraw
	closingDraw
	lossDraw
	residualDraw
	closedNoise
	closedFloorNoise
	openOffset
	openNoise
	floorNoise
	missingDraw
	droppedDraw
	profileDraw
)

// streams hands out the stream of a kind and unit by seeding one generator
// anew: no allocation, and valid only until the next call.
type streams struct {
	seed uint64
	pcg  rand.PCG
	rng  *rand.Rand
}

func newStreams(seed uint64) *streams {
	s := &streams{seed: seed}
	s.rng = rand.New(&s.pcg)
	return s
}

func (s *streams) at(k kind, unit uint64) *rand.Rand {
	hi := mix(mix(s.seed, uint64(k)), unit)
	s.pcg.Seed(hi, mix(hi, unit))
	return s.rng
}

// mix makes one well-scattered key of two: the finaliser of SplitMix64 (Steele,
// Lea and Flood, OOPSLA 2014; constants from memory) over a weighted sum.
func mix(a, b uint64) uint64 {
	z := a*0x9e3779b97f4a7c15 + b + 0x9e3779b97f4a7c15
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// label makes a key of a text, by the 64-bit FNV-1a hash.
func label(text string) uint64 {
	h := uint64(14695981039346656037)
	for i := 0; i < len(text); i++ {
		h = (h ^ uint64(text[i])) * 1099511628211
	}
	return mix(h, uint64(len(text)))
}

func (p Point) key() uint64 {
	return mix(mix(math.Float64bits(p.FreqHz), label(p.Position)), label(p.Polarization))
}
