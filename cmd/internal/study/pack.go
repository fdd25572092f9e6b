package study

import (
	"context"
	"errors"
	"io"

	"sealbound/cmd/internal/report"
	"sealbound/ingest"
)

// PackEndings are the endings of the files that Pack writes.
var PackEndings = ingest.PackEndings

// A Packing is readings that are to be written as one table.
type Packing struct {
	Rows   int // of readings
	Inputs []report.Input
	Notes  []string
	// Beside are side tables that the file cannot carry, each the text of a CSV file
	// to be put beside it.
	Beside []ingest.PackedTable

	write func(context.Context, io.Writer) error
	close func()
}

// OpenPacking reads through what paths lead to, to write it in the form that ending
// names. Where the input has problems it returns an *InputError. Close must be
// called on what it returns.
func OpenPacking(ctx context.Context, paths []string, s Settings, ending string) (*Packing, error) {
	options := s.ingestOptions()
	if s.Progress != nil {
		options.Progress = func(done, total int64) { s.Progress("packing", done, total) }
	}
	in, err := ingest.OpenPacking(ctx, paths, options, ending)
	if err != nil {
		var summary *ingest.Summary
		if in != nil {
			summary = in.Summary
		}
		var bad *ingest.BadInput
		if !errors.As(err, &bad) {
			summary = nil
		}
		return nil, inputError(summary, err)
	}
	return &Packing{Rows: in.Rows, Inputs: inputRows(in.Summary), Notes: in.Summary.Notes, Beside: in.Beside, write: in.Write, close: in.Close}, nil
}

// Write writes the table. After an error what was written is to be discarded.
func (p *Packing) Write(ctx context.Context, to io.Writer) error {
	if err := p.write(ctx, to); err != nil {
		return inputError(nil, err)
	}
	return nil
}

// Close gives back what the packing holds.
func (p *Packing) Close() { p.close() }
