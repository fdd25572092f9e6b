package reading

import "strings"

// CompareLabels compares labels so that numbers inside them count as numbers: box 2
// comes before box 10. It returns a negative number, zero or a positive one;
// zero for equal texts only.
func CompareLabels(a, b string) int {
	i, j := 0, 0
	for i < len(a) && j < len(b) {
		if !digit(a[i]) || !digit(b[j]) {
			if a[i] != b[j] {
				return int(a[i]) - int(b[j])
			}
			i, j = i+1, j+1
			continue
		}
		m, n := digits(a, i), digits(b, j)
		x, y := strings.TrimLeft(a[i:m], "0"), strings.TrimLeft(b[j:n], "0")
		if len(x) != len(y) {
			return len(x) - len(y)
		}
		if c := strings.Compare(x, y); c != 0 {
			return c
		}
		i, j = m, n
	}
	if c := (len(a) - i) - (len(b) - j); c != 0 {
		return c
	}
	return strings.Compare(a, b) // 007 and 7 differ
}

func digit(c byte) bool { return c >= '0' && c <= '9' }

// digits is the end of the run of digits that begins at i.
func digits(s string, i int) int {
	for i < len(s) && digit(s[i]) {
		i++
	}
	return i
}
