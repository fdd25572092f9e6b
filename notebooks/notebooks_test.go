// Package notebooks holds no code: its test keeps the notebooks fit to be read
// where nobody executes them.
package notebooks

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// A notebook is what a test looks at of one, in the format of nbformat 4.
type notebook struct {
	Cells []struct {
		Type    string   `json:"cell_type"`
		Source  lines    `json:"source"`
		Count   *int     `json:"execution_count"`
		Outputs []output `json:"outputs"`
	} `json:"cells"`
}

type output struct {
	Type string                     `json:"output_type"`
	Text lines                      `json:"text"`
	Data map[string]json.RawMessage `json:"data"`
}

// lines are a text that the format keeps as one string or as several.
type lines string

func (l *lines) UnmarshalJSON(b []byte) error {
	var one string
	if json.Unmarshal(b, &one) == nil {
		*l = lines(one)
		return nil
	}
	var many []string
	if err := json.Unmarshal(b, &many); err != nil {
		return err
	}
	*l = lines(strings.Join(many, ""))
	return nil
}

var (
	machinePath = regexp.MustCompile(`(?:/tmp|/home|/root|/var|/Users)/[^"\s]+`)
	encoded     = regexp.MustCompile(`"image/png": "[^"]*"`)
)

func TestNotebooks(t *testing.T) {
	files, err := filepath.Glob("*.ipynb")
	if err != nil || len(files) < 4 {
		t.Fatalf("%d notebooks, %v", len(files), err)
	}
	list, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		raw, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var nb notebook
		if err := json.Unmarshal(raw, &nb); err != nil {
			t.Errorf("%s: %v", file, err)
			continue
		}
		if path := machinePath.Find(encoded.ReplaceAll(raw, nil)); path != nil {
			t.Errorf("%s shows a path of one machine: %s", file, path)
		}
		if !strings.Contains(string(list), "]("+file+")") {
			t.Errorf("README.md does not list %s", file)
		}
		if first, _, _ := strings.Cut(string(nb.Cells[0].Source), "\n"); !strings.HasPrefix(first, "# ") || !strings.HasSuffix(first, "?") {
			t.Errorf("%s begins without a question: %q", file, first)
		}
		if !strings.Contains(string(nb.Cells[0].Source)+string(nb.Cells[1].Source), "nvented") {
			t.Errorf("%s does not say that its data are invented", file)
		}
		pictures := 0
		for i, c := range nb.Cells {
			if c.Type != "code" {
				continue
			}
			if c.Count == nil {
				t.Errorf("%s: cell %d was not executed; execute.py --update does", file, i+1)
			}
			for _, o := range c.Outputs {
				if o.Type == "error" {
					t.Errorf("%s: cell %d ended in an error", file, i+1)
				}
				if _, ok := o.Data["image/png"]; ok {
					pictures++
				}
			}
		}
		if pictures < 3 {
			t.Errorf("%s has %d pictures", file, pictures)
		}
	}
}
