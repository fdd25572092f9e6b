package cell

// Leading reads the number that b begins with where it is of the plainest form: a
// sign or none, digits with a point or none, and behind it a comma, a quote or a line end.
// It gives the number times 10^scale, as Number would, and how many bytes it
// takes; 0 where b begins otherwise, which says nothing against it.
func Leading(b []byte, scale int) (float64, int) {
	i, negative := 0, false
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		negative, i = b[0] == '-', 1
	}
	m, digits, fraction, end := digitsOf(b, i)
	if digits == 0 || digits > 19 || m > maxExact || end == len(b) || b[end] != ',' && b[end] != '\n' && b[end] != '\r' && b[end] != '"' {
		return 0, 0
	}
	v, ok := shift(m, scale-fraction)
	if !ok {
		return 0, 0
	}
	if negative && m != 0 {
		v = -v
	}
	return v, end
}

// digitsOf reads digits with or without a point. m is their value, wrong where there
// are more than 19 of them.
func digitsOf(b []byte, i int) (m uint64, digits, fraction, end int) {
	begin := i
	for ; i < len(b) && b[i]-'0' <= 9; i++ {
		m = m*10 + uint64(b[i]-'0')
	}
	digits = i - begin
	if i < len(b) && b[i] == '.' {
		i++
		begin = i
		for ; i < len(b) && b[i]-'0' <= 9; i++ {
			m = m*10 + uint64(b[i]-'0')
		}
		fraction = i - begin
		digits += fraction
	}
	return m, digits, fraction, i
}
