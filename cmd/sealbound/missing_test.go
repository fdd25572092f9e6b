package main

import (
	"errors"
	"io/fs"
	"os"
	"strings"
	"testing"
)

func TestExplainPaths(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := os.MkdirAll("runs/may", 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("runs/june.csv", nil, 0o644); err != nil {
		t.Fatal(err)
	}
	missing := &fs.PathError{Op: "open", Path: "x", Err: fs.ErrNotExist}
	for path, want := range map[string]string{
		"rusn":          "did you mean runs?",
		"runs/jnue.csv": "did you mean runs/june.csv?",
		"runs/abcdefgh": "check the name and the folder",
		"nowhere/x.csv": "the folder nowhere is not there either",
		"--targt":       "flags stand before --",
	} {
		if err := explainPaths(missing, []string{"runs", "-", path}); err == nil || !strings.Contains(err.Error(), path+": there is no such file or folder") || !strings.HasSuffix(err.Error(), want) {
			t.Errorf("%s: %v, want it to end %q", path, err, want)
		}
	}
	if err := explainPaths(missing, []string{"runs"}); err != missing {
		t.Errorf("a file that went while it was read: %v", err)
	}
	if err := explainPaths(fs.ErrPermission, []string{"runs"}); !errors.Is(err, fs.ErrPermission) || !strings.Contains(err.Error(), "ask for the permission") {
		t.Errorf("no permission: %v", err)
	}
	other := errors.New("other")
	if explainPaths(other, nil) != other || explainPaths(nil, nil) != nil {
		t.Error("another error was changed")
	}
}
