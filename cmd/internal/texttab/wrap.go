package texttab

import (
	"strings"
	"unicode"
)

// Wrap cleans text and breaks it at spaces into lines of at most width columns.
// A word wider than that is broken where it must be, a rune never from the
// marks that belong to it. Runs of spaces become one. There is always at least
// one line. A width below 1 counts as 1; a wide rune then still takes two.
func Wrap(text string, width int) []string {
	if width < 1 {
		width = 1
	}
	if c := Clean(text); Width(c) <= width && strings.TrimSpace(c) == c && !strings.Contains(c, "  ") {
		return []string{c}
	}
	var lines []string
	line, used := "", 0
	for _, word := range strings.Split(Clean(text), " ") {
		if word == "" {
			continue
		}
		w := Width(word)
		if line != "" && used+1+w <= width {
			line, used = line+" "+word, used+1+w
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for w > width {
			head, rest := split(word, width)
			if rest == "" {
				break
			}
			lines = append(lines, head)
			word, w = rest, Width(rest)
		}
		line, used = word, w
	}
	if line != "" || len(lines) == 0 {
		lines = append(lines, line)
	}
	return lines
}

// split cuts word where it reaches width: after the last sign that joins its
// parts, else after the last rune that still fits. At least one rune goes to the
// head, and marks stay with their rune.
func split(word string, width int) (head, rest string) {
	used, joint := 0, 0
	for i, r := range word {
		w := runeWidth(r)
		mark := w == 0 || unicode.Is(unicode.Mc, r)
		if i > 0 && !mark && used+w > width {
			if joint > 0 {
				i = joint
			}
			return word[:i], word[i:]
		}
		used += w
		if used <= width && (strings.ContainsRune("+-/_,;", r) || mark && joint == i && joint > 0) {
			joint = i + len(string(r))
		}
	}
	return word, ""
}

// Hang wraps text like Wrap, with first before the first line and rest before
// the others, both counted in width: a bullet and its indentation, for example.
func Hang(text string, width int, first, rest string) []string {
	room := width - max(Width(first), Width(rest))
	lines := Wrap(text, room)
	for i := range lines {
		if i == 0 {
			lines[i] = first + lines[i]
		} else {
			lines[i] = rest + lines[i]
		}
	}
	return lines
}
