package study

import (
	"context"
	"errors"

	"sealbound/ingest"
)

// A Proposal is a runs.csv for a folder of trace files, to be edited.
type Proposal struct {
	Table      []byte
	Rows, Kept int      // rows in all, and of those from a runs.csv that was there
	Said       []string // why which cells are proposed, and what cannot be told, each a line
}

// Propose writes a runs.csv for the trace files in a folder and below. A folder
// without any, or with a runs.csv that cannot be read, is an *InputError. told is told
// how many of the files were looked at; nil: not told.
func Propose(ctx context.Context, folder string, told func(done, total int64)) (*Proposal, error) {
	p, err := ingest.Propose(ctx, folder, told)
	if err != nil {
		summary := &ingest.Summary{}
		if bad := (*ingest.BadInput)(nil); errors.As(err, &bad) {
			summary.Problems, summary.Omitted = bad.Problems, bad.Omitted
		}
		return nil, inputError(summary, err)
	}
	return &Proposal{Table: p.Table, Rows: p.Rows, Kept: p.Kept, Said: p.Said}, nil
}

// ProfileColumns names the columns of a runs.csv that say how a trace is written.
func ProfileColumns() []string { return ingest.ProfileColumns() }
