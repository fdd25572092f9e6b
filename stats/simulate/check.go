package simulate

import (
	"errors"
	"fmt"
)

// check refuses settings that cannot be simulated.
func (s *Settings) check() error {
	switch {
	case len(s.Products) == 0:
		return errors.New("simulate: no products")
	case len(s.Boxes) == 0:
		return errors.New("simulate: no boxes")
	case len(s.Sessions) == 0:
		return errors.New("simulate: no sessions")
	case len(s.Points) == 0:
		return errors.New("simulate: no points")
	case s.Closings < 1:
		return fmt.Errorf("simulate: %d closings per visit, at least 1 is needed", s.Closings)
	case s.Sweeps < 1:
		return fmt.Errorf("simulate: %d sweeps per closing, at least 1 is needed", s.Sweeps)
	case s.OpenRepeats < 1:
		return fmt.Errorf("simulate: %d open sweeps per run, at least 1 is needed", s.OpenRepeats)
	case len(s.Open) == 0:
		return errors.New("simulate: no open level")
	case !(s.MissingShare >= 0 && s.MissingShare < 1):
		return fmt.Errorf("simulate: the share of missing readings is %v, not from 0 to below 1", s.MissingShare)
	case !(s.DroppedShare >= 0 && s.DroppedShare < 1):
		return fmt.Errorf("simulate: the share of dropped closings is %v, not from 0 to below 1", s.DroppedShare)
	case !(s.Bad.Share >= 0 && s.Bad.Share <= 1):
		return fmt.Errorf("simulate: the share of bad closings is %v, not from 0 to 1", s.Bad.Share)
	}
	for _, check := range []func() error{s.checkSpreads, s.checkPoints, s.checkProducts, s.checkSessions, s.checkBoxes, s.checkSteps} {
		if err := check(); err != nil {
			return err
		}
	}
	if err := s.Open.check("open level"); err != nil {
		return err
	}
	return s.Floor.check("floor")
}

func (s *Settings) checkSpreads() error {
	for _, sd := range []struct {
		name string
		db   float64
	}{
		{"box", s.SD.BoxDB}, {"fitting", s.SD.FittingDB}, {"session", s.SD.SessionDB}, {"visit", s.SD.VisitDB},
		{"closing", s.SD.ClosingDB}, {"point", s.SD.PointDB}, {"open", s.SD.OpenDB}, {"reading", s.SD.ReadingDB},
		{"floor", s.SD.FloorDB}, {"profile", s.ProfileSDDB}, {"loss of bad closings", s.Bad.LossDB},
	} {
		if !finite(sd.db) || sd.db < 0 {
			return fmt.Errorf("simulate: %s: %v dB is not a spread, it must be 0 or more", sd.name, sd.db)
		}
	}
	if s.PointSDs != nil && len(s.PointSDs) != len(s.Points) {
		return fmt.Errorf("simulate: %d point SDs for %d points", len(s.PointSDs), len(s.Points))
	}
	for i, sd := range s.PointSDs {
		if !finite(sd) || sd < 0 {
			return fmt.Errorf("simulate: point %d: %v dB is not a spread, it must be 0 or more", i+1, sd)
		}
	}
	return nil
}

func (s *Settings) checkPoints() error {
	seen := map[Point]bool{}
	for i, p := range s.Points {
		if !finite(p.FreqHz) || p.FreqHz <= 0 {
			return fmt.Errorf("simulate: point %d: %v Hz is not a frequency above 0", i+1, p.FreqHz)
		}
		if seen[p] {
			return fmt.Errorf("simulate: point %d is there twice: %v Hz %s %s", i+1, p.FreqHz, p.Position, p.Polarization)
		}
		seen[p] = true
	}
	names := map[string]bool{}
	for _, b := range s.Bands {
		if b.Name == "" || names[b.Name] {
			return fmt.Errorf("simulate: band name %q is empty or there twice", b.Name)
		}
		if !(b.LoHz < b.HiHz) {
			return fmt.Errorf("simulate: band %s: from %v to %v Hz is no range", b.Name, b.LoHz, b.HiHz)
		}
		names[b.Name] = true
	}
	return nil
}

func (s *Settings) checkProducts() error {
	seen := map[string]bool{}
	for _, p := range s.Products {
		if p.Label == "" || seen[p.Label] {
			return fmt.Errorf("simulate: product label %q is empty or there twice", p.Label)
		}
		seen[p.Label] = true
		if !finite(p.MeanDB) || !finite(p.WearDBPerYear) || !finite(p.SlopeSDDBPerYear) || p.SlopeSDDBPerYear < 0 {
			return fmt.Errorf("simulate: product %s: mean, wear and slope SD must be numbers, the SD 0 or more", p.Label)
		}
		if err := p.Shape.check("product " + p.Label); err != nil {
			return err
		}
	}
	return nil
}

func (s *Settings) checkSessions() error {
	boxes := map[string]bool{}
	for _, b := range s.Boxes {
		boxes[b.Label] = true
	}
	seen := map[string]bool{}
	for _, e := range s.Sessions {
		if e.Date.IsZero() {
			return fmt.Errorf("simulate: session %q has no date", e.Label)
		}
		if seen[e.Name()] {
			return fmt.Errorf("simulate: session %s is there twice", e.Name())
		}
		seen[e.Name()] = true
		for _, b := range e.Boxes {
			if !boxes[b] {
				return fmt.Errorf("simulate: session %s: no box %q", e.Name(), b)
			}
		}
	}
	return nil
}

func (s *Settings) checkBoxes() error {
	products := map[string]bool{}
	for _, p := range s.Products {
		products[p.Label] = true
	}
	seen := map[string]bool{}
	for _, b := range s.Boxes {
		if b.Label == "" || seen[b.Label] {
			return fmt.Errorf("simulate: box label %q is empty or there twice", b.Label)
		}
		seen[b.Label] = true
		if len(b.Fittings) == 0 {
			return fmt.Errorf("simulate: box %s has no fitting", b.Label)
		}
		if b.Control && len(b.Fittings) > 1 {
			return fmt.Errorf("simulate: control box %s is never opened, so it has one fitting, not %d", b.Label, len(b.Fittings))
		}
		strips := map[[2]string]bool{}
		for i, f := range b.Fittings {
			switch {
			case !products[f.Product]:
				return fmt.Errorf("simulate: box %s, fitting %s: no product %q", b.Label, f.name(i), f.Product)
			case f.Installed.IsZero():
				return fmt.Errorf("simulate: box %s, fitting %s has no date of installation", b.Label, f.name(i))
			case !f.Removed.IsZero() && f.Removed.Before(f.Installed):
				return fmt.Errorf("simulate: box %s, fitting %s was removed before it was installed", b.Label, f.name(i))
			case strips[[2]string{f.Product, f.name(i)}]:
				return fmt.Errorf("simulate: box %s, fitting %s is there twice", b.Label, f.name(i))
			}
			strips[[2]string{f.Product, f.name(i)}] = true
		}
	}
	return nil
}

func (s *Settings) checkSteps() error {
	sessions, boxes := map[string]bool{}, map[string]bool{"": true}
	for _, e := range s.Sessions {
		sessions[e.Name()] = true
	}
	for _, b := range s.Boxes {
		boxes[b.Label] = true
	}
	for _, d := range s.Drifts {
		if !sessions[d.Session] || !boxes[d.Box] || !finite(d.DB) {
			return fmt.Errorf("simulate: drift of %v dB in session %q, box %q: no such session or box, or no number", d.DB, d.Session, d.Box)
		}
		if s.OpenRepeats < 2 {
			return errors.New("simulate: a drift needs two open sweeps per run, else nothing shows it")
		}
	}
	for _, g := range s.GainSteps {
		if !sessions[g.Session] || !boxes[g.Box] || !finite(g.OpenDB) || !finite(g.ClosedDB) || !finite(g.FloorDB) {
			return fmt.Errorf("simulate: gain step in session %q, box %q: no such session or box, or no number", g.Session, g.Box)
		}
	}
	return nil
}
