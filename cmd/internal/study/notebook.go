package study

import (
	"fmt"
	"strings"
)

// A notebook gathers notes, each once, with the groups that it is about.
type notebook struct {
	order []string
	about map[string][]string
}

// add notes text about the named group; an empty name is about everything.
func (n *notebook) add(text, about string) {
	if n.about == nil {
		n.about = make(map[string][]string)
	}
	names, seen := n.about[text]
	if !seen {
		n.order = append(n.order, text)
	}
	if about != "" && (len(names) == 0 || names[len(names)-1] != about) {
		names = append(names, about)
	}
	n.about[text] = names
}

// mostNamed is the number of groups that a note names before it counts the rest.
const mostNamed = 4

// lines returns the notes in the order in which they first came up.
func (n *notebook) lines() []string {
	var out []string
	for _, text := range n.order {
		names := n.about[text]
		more := ""
		if len(names) > mostNamed+1 {
			more = fmt.Sprintf("; and %d more", len(names)-mostNamed)
			names = names[:mostNamed]
		}
		if len(names) > 0 {
			text += " [" + strings.Join(names, "; ") + more + "]"
		}
		out = append(out, text)
	}
	return out
}
