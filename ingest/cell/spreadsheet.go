package cell

import (
	"strings"
	"unicode/utf8"
)

// Guarded is a text in the form in which a spreadsheet leaves it alone: one that
// it would take for a formula, or +45 for a number, gets an apostrophe before it.
// Full-width signs count too: some spreadsheets narrow them.
func Guarded(text string) string {
	if strings.IndexAny(text, formulaSigns) == 0 {
		return "'" + text
	}
	return text
}

// Unguarded is the text of a cell without the apostrophe of Guarded, so that what
// was written for a spreadsheet and saved there reads as it was.
func Unguarded(b []byte) []byte {
	if len(b) < 2 || b[0] != '\'' {
		return b
	}
	if r, _ := utf8.DecodeRune(b[1:]); strings.ContainsRune(formulaSigns, r) {
		return b[1:]
	}
	return b
}

const formulaSigns = "=+-@\t\r\n＝＋－＠"
