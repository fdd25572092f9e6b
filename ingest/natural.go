package ingest

import "sealbound/ingest/reading"

// CompareLabels compares labels so that numbers inside them count as numbers: box 2
// comes before box 10. It returns a negative number, zero or a positive one;
// zero for equal texts only.
func CompareLabels(a, b string) int { return reading.CompareLabels(a, b) }
