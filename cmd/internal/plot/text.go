package plot

import "strings"

const (
	textSize = 13.0
	boldSize = 14.5 // as wide as bold letters of textSize
	headSize = 18.0 // likewise for the title of a file
	margin   = 10.0
)

// textWidth is about how wide s is in a common sans-serif typeface of the given
// size: pictures name no font, so nobody can know it better. It errs on the wide
// side.
func textWidth(s string, size float64) float64 {
	w := 0.0
	for _, r := range s {
		switch {
		case strings.ContainsRune("iIjl.,:;'|!()[] ", r):
			w += 0.34
		case strings.ContainsRune("mwMW%@", r):
			w += 0.9
		case r >= 'A' && r <= 'Z':
			w += 0.68
		case r < 0x1100:
			w += 0.58
		default:
			w += 1.05 // ideographs, symbols
		}
	}
	return w * size
}

// shorten cuts s to a width, with an ellipsis where something is missing.
func shorten(s string, width, size float64) string {
	if textWidth(s, size) <= width {
		return s
	}
	runes := []rune(s)
	for len(runes) > 0 && textWidth(string(runes)+"…", size) > width {
		runes = runes[:len(runes)-1]
	}
	return strings.TrimRight(string(runes), " ") + "…"
}

// wrapText breaks s at spaces into at most three lines; what does not fit is cut.
func wrapText(s string, width, size float64) []string {
	const most = 3
	var lines []string
	line := ""
	for _, word := range strings.Fields(s) {
		switch joined := strings.TrimSpace(line + " " + word); {
		case line == "" || len(lines) == most-1 || textWidth(joined, size) <= width:
			line = joined
		default:
			lines = append(lines, line)
			line = word
		}
	}
	lines = append(lines, line)
	for i := range lines {
		lines[i] = shorten(lines[i], width, size)
	}
	return lines
}
