package report

import "strconv"

// The makers of judgeColumns' entries.

// tally is a column of counts; part empty: text does not show it.
func tally(name string, of func(*JudgeRow) int, part, head string, shows func([]JudgeRow) bool) column[JudgeRow] {
	c := column[JudgeRow]{name: name, of: func(r *JudgeRow) any { return of(r) }}
	if part != "" {
		c.show = &judgeShown{part: part, head: head, shows: shows,
			cell: func(r *JudgeRow) string { return strconv.Itoa(of(r)) }}
	}
	return c
}

// level is a column of numbers in dB; part empty: text does not show it.
func level(name string, of func(*JudgeRow) Number, part, head string) column[JudgeRow] {
	c := column[JudgeRow]{name: name, of: func(r *JudgeRow) any { return number(of(r)) }}
	if part != "" {
		c.show = &judgeShown{part: part, head: head,
			cell: func(r *JudgeRow) string { return optional(of(r), digits(r)) }}
	}
	return c
}

// some decides whether a column is worth its room.
func some(is func(*JudgeRow) bool) func([]JudgeRow) bool {
	return func(rows []JudgeRow) bool {
		for i := range rows {
			if is(&rows[i]) {
				return true
			}
		}
		return false
	}
}

// The parts of a row that may be missing.
func weakestOf(r *JudgeRow) *Weakest       { return r.Weakest }
func lowestMeanOf(r *JudgeRow) *LowestMean { return r.LowestMean }
func lowestOf(r *JudgeRow) *Lowest         { return r.Lowest }
func censoredOf(r *JudgeRow) *Censored     { return r.Censored }
func neededOf(r *JudgeRow) *Needed         { return r.Needed }

// in reads a value of a part, nil where the part is missing.
func in[P any](part func(*JudgeRow) *P, of func(*P) any) func(*JudgeRow) any {
	return func(r *JudgeRow) any {
		if p := part(r); p != nil {
			return of(p)
		}
		return nil
	}
}

// shownIn shows a number of a part.
func shownIn[P any](of func(*JudgeRow) *P, table, head string, cell func(*P, *JudgeRow) string) *judgeShown {
	return &judgeShown{part: table, head: head, cell: func(r *JudgeRow) string {
		if p := of(r); p != nil {
			return cell(p, r)
		}
		return undefined
	}}
}

// asText makes a column of words of it.
func asText(s *judgeShown) *judgeShown {
	s.text = true
	return s
}
