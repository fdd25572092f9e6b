//go:build unix

package ingest

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"sealbound/ingest/temporary"
)

// A pipe is read like a file, and not waited for without end.
func TestNamedPipe(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	defer func(d time.Duration) { pipePatience = d }(pipePatience)
	pipePatience = time.Millisecond
	if got := refusal(t, path, nil); !strings.Contains(got, "empty") {
		t.Errorf("nobody writes: %s", got)
	}
	pipePatience = time.Minute
	go func() {
		f, err := os.OpenFile(path, os.O_WRONLY, 0)
		if err != nil {
			return
		}
		_, _ = f.WriteString(extremeHeader)
		time.Sleep(20 * time.Millisecond) // a writer that pauses is not at its end
		_, _ = f.WriteString("r,,,,open,100,-30\nr,b,g,1,closed,100,-90\n")
		f.Close()
	}()
	runs := 0
	_, err := Read(context.Background(), []string{path}, Options{FloorMarginDB: 6, DriftDB: 3}, func(r *Run) error { runs++; return nil })
	if err != nil || runs != 1 {
		t.Errorf("%d runs, %v", runs, err)
	}
}

// A copy that was made for reading leaves no file behind, not even while it is in
// use, so that nothing stays however the process ends: on Unix, where an open file needs no
// name.
func TestCopyHasNoName(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	var text strings.Builder
	text.WriteString(extremeHeader + "r,,,,open,100,-30\n")
	for text.Len() < temporary.Memory+1 {
		text.WriteString(",,,,,,\n")
	}
	text.WriteString("r,b,g,1,closed,100,-90\n")
	runs := 0
	_, err := Read(context.Background(), []string{"-"}, Options{Stdin: strings.NewReader(text.String()), FloorMarginDB: 6, DriftDB: 3}, func(*Run) error {
		entries, err := os.ReadDir(dir)
		if runs++; err != nil || len(entries) > 0 {
			t.Errorf("the folder for temporary files holds %v (%v)", entries, err)
		}
		return nil
	})
	if err != nil || runs != 1 {
		t.Errorf("%d runs, %v", runs, err)
	}
}
