package compare

import (
	"fmt"
	"slices"
)

// letters gives each of n products, in falling order of their means, letters such
// that two products have one in common exactly where differ(i, j) is false. The
// first product has "a".
//
// Method: insert and absorb, then sweep. Source: H.-P. Piepho, Journal of
// Computational and Graphical Statistics 13 (2004) 456-466 (from memory; the
// property above is tested for itself).
func letters(n int, differ func(i, j int) bool) []string {
	all := make([]bool, n)
	for i := range all {
		all[i] = true
	}
	columns := [][]bool{all}
	for i := range n {
		for j := i + 1; j < n; j++ {
			if !differ(i, j) {
				continue
			}
			for c := len(columns) - 1; c >= 0; c-- {
				if !columns[c][i] || !columns[c][j] {
					continue
				}
				other := slices.Clone(columns[c])
				columns[c][i], other[j] = false, false
				columns = append(columns, other)
			}
			columns = absorbed(columns)
		}
	}
	columns = swept(columns, n)
	// In the order of their members, so that the best product has the first letter.
	slices.SortFunc(columns, func(a, b []bool) int {
		for i := range a {
			if a[i] != b[i] {
				if a[i] {
					return -1
				}
				return 1
			}
		}
		return 0
	})
	out := make([]string, n)
	for c, column := range columns {
		for i, in := range column {
			if in {
				out[i] += letter(c)
			}
		}
	}
	return out
}

// letter is a, b ... z, then A ... Z, then numbers in brackets.
func letter(c int) string {
	const names = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
	if c < len(names) {
		return names[c : c+1]
	}
	return fmt.Sprintf("(%d)", c-len(names)+1)
}

// absorbed drops columns that lie within another.
func absorbed(columns [][]bool) [][]bool {
	var kept [][]bool
	for i, c := range columns {
		within := false
		for j, other := range columns {
			if i != j && subset(c, other) && (!subset(other, c) || j < i) {
				within = true
				break
			}
		}
		if !within {
			kept = append(kept, c)
		}
	}
	return kept
}

func subset(a, b []bool) bool {
	for i := range a {
		if a[i] && !b[i] {
			return false
		}
	}
	return true
}

// swept takes a product out of a column where the other columns say already with
// whom it is alike.
func swept(columns [][]bool, n int) [][]bool {
	together := func(i, j, without int) bool {
		for c, column := range columns {
			if c != without && column[i] && column[j] {
				return true
			}
		}
		return false
	}
	for c := range columns {
		for i := range n {
			if !columns[c][i] {
				continue
			}
			needed := false
			for j := range n {
				if columns[c][j] && !together(i, j, c) {
					needed = true // with j == i: its only letter
					break
				}
			}
			columns[c][i] = needed
		}
	}
	return slices.DeleteFunc(columns, func(c []bool) bool { return !slices.Contains(c, true) })
}
