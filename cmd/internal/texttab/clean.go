package texttab

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Clean makes visible what would move the cursor, colour the screen, reverse
// the reading order or hide: control characters (an ANSI escape with them),
// bidirectional marks, line separators, runes without a shape of their own and
// bytes that are not UTF-8 become escapes such as \x1b and \u202e. Joiners and
// combining marks stay, for they belong to the writing of some languages. Clean
// text comes back as it was.
func Clean(s string) string {
	dirty := false
	for _, r := range s {
		if Unsafe(r) || r == utf8.RuneError {
			dirty = true
			break
		}
	}
	if !dirty {
		return s
	}
	var b strings.Builder
	for i := 0; i < len(s); {
		r, n := utf8.DecodeRuneInString(s[i:])
		switch {
		case r == utf8.RuneError && n == 1:
			fmt.Fprintf(&b, `\x%02x`, s[i])
		case !Unsafe(r):
			b.WriteString(s[i : i+n])
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case r == '\r':
			b.WriteString(`\r`)
		case r < 0x100:
			fmt.Fprintf(&b, `\x%02x`, r)
		case r < 0x10000:
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			fmt.Fprintf(&b, `\U%08x`, r)
		}
		i += n
	}
	return b.String()
}

// Unsafe reports whether a display may not be given r as it is.
func Unsafe(r rune) bool {
	switch {
	case r < 0x20, r >= 0x7f && r < 0xa0: // C0, delete and C1, where 0x9b is an escape of one rune
		return true
	case r < 0x100:
		return r == 0xad // soft hyphen
	case r == 0x200b, r == 0x2028, r == 0x2029, r >= 0x2060 && r <= 0x206f, r == 0xfeff:
		return true // zero-width space, separators, invisible operators and their like, byte order mark
	case r >= 0xfff9 && r <= 0xfffb, r >= 0xe0000 && r <= 0xe007f: // annotations, tags
		return true
	}
	return unicode.Is(unicode.Bidi_Control, r)
}
