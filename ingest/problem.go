package ingest

import (
	"fmt"

	"sealbound/ingest/reading"
)

// A Problem is one unusable cell, row or file. Reading goes on to find the
// others; the caller decides. Column counts bytes and points at the cell's
// start; Line and Column are 1-based, 0 where the problem has no place.
type Problem = reading.Problem

// BadInput is what Read returns where the data have problems and
// Options.SkipBadRows is not set. What was visited then is to be discarded.
type BadInput struct {
	Problems []Problem // sorted by file, line, column; never empty
	Omitted  int       // problems beyond Options.ProblemLimit
}

// Error counts the problems and tells the first.
func (b *BadInput) Error() string {
	if len(b.Problems) == 0 {
		return fmt.Sprintf("%d problems in the data", b.Omitted)
	}
	switch n := len(b.Problems) + b.Omitted; {
	case n > 2:
		return fmt.Sprintf("%v (and %d more problems)", b.Problems[0], n-1)
	case n == 2:
		return fmt.Sprintf("%v (and one more problem)", b.Problems[0])
	}
	return b.Problems[0].Error()
}

// Unwrap gives the problems as errors.
func (b *BadInput) Unwrap() []error {
	errs := make([]error, len(b.Problems))
	for i, p := range b.Problems {
		errs[i] = p
	}
	return errs
}
