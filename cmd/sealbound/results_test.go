package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A result that was written as CSV is known for what it is where its folder is read
// again, whatever command wrote it, and is told in one line with the mend.
func TestResultsAreNoReadings(t *testing.T) {
	for _, args := range []string{"judge --by box", "judge --bands all", "spread", "wear", "compare", "check", "plan --sd 1 --margin 1", "plan --margin 1 --closing-sd 1 --session-sd 1 --box-sd 2"} {
		words := strings.Fields(args)
		folder := t.TempDir()
		result := filepath.Join(folder, "result.csv")
		call1 := append([]string{"sealbound"}, words...)
		if words[0] != "plan" {
			call1 = append(call1, "../../testdata/demo")
		}
		var stdout, stderr bytes.Buffer
		if code := realProgram().run(call{context.Background(), nil, &stdout, &stderr}, append(call1, "--format", "csv", "-o", result)); code != done {
			t.Fatalf("%s: exit %d, %s", args, code, stderr.String())
		}
		if err := os.CopyFS(folder, os.DirFS("../../testdata/demo")); err != nil {
			t.Fatal(err)
		}
		for _, again := range []string{"judge", "check", "pack"} {
			stdout.Reset()
			stderr.Reset()
			call2 := []string{"sealbound", again, folder}
			if again == "pack" {
				call2 = append(call2, "-o", filepath.Join(t.TempDir(), "x.parquet"))
			}
			code := realProgram().run(call{context.Background(), nil, &stdout, &stderr}, call2)
			want := result + ": this is a result that " + words[0] + " wrote, no readings; move it out of the folder, or name the files to be read\n"
			if code != wrongUse || !strings.HasPrefix(stderr.String(), want) || strings.Count(stderr.String(), "\n") != 2 {
				t.Errorf("%s, then %s: exit %d, got\n%s", args, again, code, stderr.String())
			}
		}
	}
}
