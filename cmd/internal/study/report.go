package study

import (
	"context"
	"errors"
	"slices"
	"strings"

	"sealbound/cmd/internal/report"
	"sealbound/ingest"
)

// ReportSettings are the settings of a report.
type ReportSettings struct {
	Settings
	Title   string   // of the page; empty: one is made
	Command []string // the words of the command line, to redo it
}

// Report asks all questions of one reading of the data: the judgement, where the
// spread comes from, wear, and which product; with the curves behind them and an
// account of how it came about. A question that the data do not answer is left
// with its reason. The error is an *InputError, a *UsageError, or one of the
// system.
func Report(ctx context.Context, paths []string, rs ReportSettings) (*report.Campaign, error) {
	r, err := startReport(ctx, paths, rs, []string{"gasket"}, "")
	defer r.close()
	if err != nil {
		return nil, err
	}
	s, c := r.settings, r.settings.campaign
	out := &report.Campaign{Title: rs.Title}
	cells, err := r.judge(ctx, paths, &out.Judge)
	if err != nil {
		return nil, err
	}
	if out.Curves, err = c.curves(cells, out.Judge.Judge); err != nil {
		return nil, err
	}
	if !slices.Contains(s.By, "box") {
		b := s
		b.By = append(slices.Clone(s.By), "box")
		if out.ByBox, err = Judge(ctx, paths, b); err != nil {
			return nil, err
		}
	}
	all := s
	all.AllDates = true
	if out.Spread, err = part(Spread(ctx, paths, all)); err != nil {
		return nil, err
	}
	followed := s
	followed.curves = true
	if out.Wear, err = part(Wear(ctx, paths, followed)); err != nil {
		return nil, err
	}
	versus := s
	versus.By = slices.DeleteFunc(slices.Clone(s.By), func(f string) bool { return f == "gasket" || f == "box" || f == "fitting" })
	if out.Compare, err = part(Compare(ctx, paths, versus)); err != nil {
		return nil, err
	}
	out.Account = r.account(cells)
	out.Account.Assumed = s.assumed(cells)
	out.Account.Unsaid = c.unsaid(cells, out.Judge.Judge)
	if out.Title == "" {
		out.Title = "Attenuation of " + plural("closed box", "closed boxes", len(c.distinct("box")))
	}
	return out, nil
}

// A reporting is a report under way.
type reporting struct {
	settings Settings
	rig      *rig
	files    *digests
	command  []string
}

// startReport reads the campaign once, with all that a report tells of it; of a box, where
// one is named, with its open references.
func startReport(ctx context.Context, paths []string, rs ReportSettings, by []string, box string) (*reporting, error) {
	s := rs.Settings
	if len(s.By) == 0 {
		s.By = by
	}
	if err := s.check(s.By); err != nil {
		return nil, err
	}
	if _, err := s.target(); err != nil {
		return nil, &InputError{Err: err}
	}
	r := &reporting{rig: newRig(box), files: &digests{}, command: rs.Command}
	s.Stdin = r.files.listen(s.Stdin)
	var err error
	s.campaign, err = readAlso(ctx, paths, s, &witness{add: func(run *ingest.Run) error { return r.rig.add(run) }, again: func() { r.rig = newRig(box) }})
	if r.settings = s; err != nil {
		return r, err
	}
	if err := s.campaign.readingsOnly("a report"); err != nil {
		return r, err
	}
	return r, r.files.take(s)
}

// close gives back what was read.
func (r *reporting) close() {
	if r != nil && r.settings.campaign != nil {
		r.settings.campaign.close()
	}
}

// judge asks for the answer, and returns the cells that it is about.
func (r *reporting) judge(ctx context.Context, paths []string, doc **report.Document) (cells []*outlined, err error) {
	s := r.settings
	s.outlines = &cells
	*doc, err = Judge(ctx, paths, s)
	return cells, err
}

// part turns the failure of a further question into its reason. What is wrong with
// the whole remains an error.
func part(doc *report.Document, err error) (report.Part, error) {
	var input *InputError
	if errors.As(err, &input) && len(input.Problems) == 0 {
		why, _, _ := strings.Cut(input.Error(), "\n")
		return report.Part{Why: why}, nil
	}
	return report.Part{Doc: doc}, err
}
