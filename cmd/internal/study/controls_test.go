package study

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A control box stays shut: it is no example of new boxes, and stands in a pooled
// group only where it is named. By itself it is judged as any box. No source: by the
// meaning of the role.
func TestJudgeLeavesControlBoxesOut(t *testing.T) {
	dir := t.TempDir()
	visits := csvOf(append(append(yearlyTests("A", "", 60), yearlyTests("B", "", 61)...), yearlyTests("C", "", 75)...))
	for name, text := range map[string]string{"a.csv": visits, "boxes.csv": "box,role\nA,test\nC,control\n"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, tt := range []struct {
		by, box []string
		boxes   []int // of each row
		noted   bool
	}{
		{[]string{"gasket"}, nil, []int{2}, true},
		{[]string{"gasket"}, []string{"A", "B", "C"}, []int{3}, false},
		{[]string{"gasket", "box"}, nil, []int{1, 1, 1}, false},
	} {
		s := DefaultSettings()
		s.By, s.Box = tt.by, tt.box
		doc, err := Judge(context.Background(), []string{dir}, s)
		if err != nil {
			t.Fatal(err)
		}
		if len(doc.Judge) != len(tt.boxes) {
			t.Fatalf("by %v: %d rows", tt.by, len(doc.Judge))
		}
		for i, r := range doc.Judge {
			if r.Boxes != tt.boxes[i] {
				t.Errorf("by %v, box %v: row %d has %d boxes, want %d", tt.by, tt.box, i, r.Boxes, tt.boxes[i])
			}
		}
		if got := strings.Contains(strings.Join(doc.Notes, "\n"), "control boxes"); got != tt.noted {
			t.Errorf("by %v, box %v: notes %q", tt.by, tt.box, doc.Notes)
		}
	}
}
