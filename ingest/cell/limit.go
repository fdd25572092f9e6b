package cell

import "strings"

// Below takes the sign of an upper bound off the front of text: a level that is
// written < -120 is known to be at most that.
func Below(text string) (limit string, is bool) {
	for _, sign := range [...]string{"<=", "<", "\u2264"} {
		if rest, ok := strings.CutPrefix(text, sign); ok {
			return strings.TrimSpace(rest), true
		}
	}
	return text, false
}
