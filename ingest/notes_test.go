package ingest

import (
	"strings"
	"testing"
)

// Every kind of note has a sentence, and its figures fit it.
func TestWordings(t *testing.T) {
	for kind, text := range wordings {
		n := &notes{list: []noted{{noteKind(kind), "spring", "3", 2}}}
		said := n.sentences()
		if text == "" || len(said) != 1 || strings.Contains(said[0], "%!") {
			t.Errorf("kind %d: %q", kind, said)
		}
	}
}
