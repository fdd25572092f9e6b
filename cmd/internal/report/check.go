package report

import "strconv"

// checkColumns are the columns of check. Text shows them one below the other.
var checkColumns = []column[CheckRow]{
	fact("files", func(r *CheckRow) int { return r.Files }, "files"),
	fact("rows", func(r *CheckRow) int { return r.Rows }, "rows of data"),
	fact("runs", func(r *CheckRow) int { return r.Runs }, "runs"),
	fact("sessions", func(r *CheckRow) int { return r.Sessions }, "sessions"),
	fact("boxes", func(r *CheckRow) int { return r.Boxes }, "boxes"),
	fact("gaskets", func(r *CheckRow) int { return r.Gaskets }, "gaskets"),
	fact("closings", func(r *CheckRow) int { return r.Closings }, "closings"),
	fact("frequencies", func(r *CheckRow) int { return r.Frequencies }, "frequencies"),
	fact("limited", func(r *CheckRow) int { return r.Limited }, "limited readings"),
	{name: "drift_db", of: func(r *CheckRow) any { return number(r.DriftDB) },
		show: &shown[CheckRow]{head: "largest drift of an open reference, dB",
			cell: func(r *CheckRow) string { return optional(r.DriftDB, 1) }}},
	{name: "headroom_db", of: func(r *CheckRow) any { return number(r.HeadroomDB) },
		show: &shown[CheckRow]{head: "headroom, dB",
			cell: func(r *CheckRow) string { return optional(r.HeadroomDB, 1) }}},
	{name: "problems", of: func(r *CheckRow) any { return r.Problems },
		show: &shown[CheckRow]{head: "problems",
			cell: func(r *CheckRow) string { return strconv.Itoa(len(r.Problems)) }}},
}

func fact(name string, of func(*CheckRow) int, head string) column[CheckRow] {
	return column[CheckRow]{name: name, of: func(r *CheckRow) any { return of(r) },
		show: &shown[CheckRow]{head: head, cell: func(r *CheckRow) string { return strconv.Itoa(of(r)) }}}
}
