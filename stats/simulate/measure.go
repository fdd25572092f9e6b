package simulate

// A meter draws the terms of the sum. It reuses its generator and its buffers,
// so it serves one caller at a time.
type meter struct {
	*streams
	c        *Campaign
	residual []float64
	noise    []float64
}

func (c *Campaign) newMeter() *meter {
	n := len(c.settings.Points)
	return &meter{streams: newStreams(c.settings.Seed), c: c, residual: make([]float64, n), noise: make([]float64, n)}
}

// normal draws one normal deviate of a unit with the given SD.
func (m *meter) normal(k kind, unit uint64, sd float64) float64 {
	if sd == 0 {
		return 0
	}
	return sd * m.at(k, unit).NormFloat64()
}

// strip is what one fitting lies above its product at an age, in dB: the terms
// of box and fitting, and the wear.
func (m *meter) strip(f *fitting, ageYears float64) float64 {
	s := &m.c.settings
	db := m.normal(boxDraw, label(s.Boxes[f.box].Label), s.SD.BoxDB) + m.normal(fittingDraw, f.key, s.SD.FittingDB)
	return db + float64(m.slope(f)*ageYears)
}

// slope is the strip's own dB per year; a control box's strip has none.
func (m *meter) slope(f *fitting) float64 {
	if f.control {
		return 0
	}
	p := &m.c.settings.Products[f.product]
	return p.WearDBPerYear + m.normal(slopeDraw, f.key, p.SlopeSDDBPerYear)
}

// visit is what all closings of a visit share above the product's mean, in dB.
func (m *meter) visit(v *Visit) float64 {
	s := &m.c.settings
	return m.strip(&m.c.fittings[v.Fitting], v.AgeYears) +
		m.normal(sessionDraw, label(s.Sessions[v.Session].Name()), s.SD.SessionDB) +
		m.normal(visitDraw, v.key, s.SD.VisitDB)
}

// closingKey names the streams of one closing. The closing of a control box is
// the same in every session.
func (m *meter) closingKey(v *Visit, name int) uint64 {
	if f := &m.c.fittings[v.Fitting]; f.control {
		return f.key
	}
	return mix(v.key, uint64(name-v.offset))
}

// closing is what all points of a closing share, in dB.
func (m *meter) closing(key uint64) float64 {
	s := &m.c.settings
	db := m.normal(closingDraw, key, s.SD.ClosingDB)
	if s.Bad.Share > 0 {
		if rng := m.at(lossDraw, key); rng.Float64() < s.Bad.Share {
			db -= s.Bad.LossDB * rng.ExpFloat64()
		}
	}
	return db
}

// residuals draws the residual of each point in a closing, dB. The slice is
// good until the next call.
func (m *meter) residuals(key uint64) []float64 {
	rng := m.at(residualDraw, key)
	for i, sd := range m.c.sds {
		if sd == 0 {
			m.residual[i] = 0
			continue
		}
		m.residual[i] = sd * rng.NormFloat64()
	}
	return m.residual
}

// noises draws the noise of each point in one sweep, dB. The slice is good
// until the next call.
func (m *meter) noises(k kind, unit uint64, sd float64) []float64 {
	if sd == 0 {
		clear(m.noise)
		return m.noise
	}
	rng := m.at(k, unit)
	for i := range m.noise {
		m.noise[i] = sd * rng.NormFloat64()
	}
	return m.noise
}

// openShare is when within its run an open sweep is read: 0 at the start, 1 at
// the end. A single one is read at the start.
func (s *Settings) openShare(repeat int) float64 {
	if s.OpenRepeats == 1 {
		return 0
	}
	return float64(repeat) / float64(s.OpenRepeats-1)
}

// closedShare is when within its run its k-th closing is read.
func (r *Run) closedShare(k int) float64 { return float64(k+1) / float64(r.closings+1) }
