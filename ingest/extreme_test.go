package ingest

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"sealbound/ingest/temporary"
)

const extremeHeader = "run,box,gasket,closing,state,freq_mhz,level_dbm\n"

// repeated is a text without end.
type repeated struct {
	text string
	at   int
	read int64
}

func (r *repeated) Read(b []byte) (int, error) {
	n := copy(b, r.text[r.at:])
	r.at = (r.at + n) % len(r.text)
	r.read += int64(n)
	return n, nil
}

// refusal reads path and returns the first problem.
func refusal(t *testing.T, path string, stdin io.Reader) string {
	t.Helper()
	_, err := Read(context.Background(), []string{path}, Options{Stdin: stdin, FloorMarginDB: 6, DriftDB: 3, ProblemLimit: 10}, func(*Run) error { return nil })
	var bad *BadInput
	if !errors.As(err, &bad) {
		t.Fatalf("error %v, want problems", err)
	}
	return bad.Problems[0].Error()
}

// What has no end and is going to be refused is refused from its beginning.
func TestEndlessInput(t *testing.T) {
	for text, want := range map[string]string{
		"y\n":   "no column gives",
		"\x00":  "zero byte",
		"abc, ": "longer than a megabyte",
	} {
		in := &repeated{text: text}
		if got := refusal(t, "-", in); !strings.Contains(got, want) {
			t.Errorf("%q without end: %s", text, got)
		}
		if in.read > 2*temporary.Memory {
			t.Errorf("%q: %d bytes were read", text, in.read)
		}
	}
	if runtime.GOOS == "linux" {
		if got := refusal(t, "/dev/zero", nil); !strings.Contains(got, "zero byte") {
			t.Errorf("/dev/zero: %s", got)
		}
	}
}

// A small file that unpacks to more than any readings would is not unpacked.
func TestPackedBomb(t *testing.T) {
	var packed bytes.Buffer
	z, _ := gzip.NewWriterLevel(&packed, gzip.DefaultCompression)
	_, _ = io.WriteString(z, extremeHeader)
	row := bytes.Repeat([]byte("r,b,g,1,closed,100,-90\n"), 1<<14)
	for n := 0; n < fewUnpacked+(8<<20); n += len(row) {
		if _, err := z.Write(row); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	if packed.Len() > fewUnpacked/mostPacked {
		t.Fatalf("the bomb is too weak: %d bytes", packed.Len())
	}
	path := filepath.Join(t.TempDir(), "bomb.csv.gz")
	if err := os.WriteFile(path, packed.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	if got := refusal(t, path, nil); !strings.Contains(got, "unpacks to more than 200 times its size") {
		t.Errorf("a bomb: %s", got)
	}
}

// A line that is longer than what is read is told once, in a time that grows with
// the file and not with its square.
func TestLineWithoutEnd(t *testing.T) {
	path := filepath.Join(t.TempDir(), "long.csv")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	_, _ = f.WriteString(extremeHeader)
	part := bytes.Repeat([]byte("x"), 1<<20)
	for range 40 {
		if _, err := f.Write(part); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if got := refusal(t, path, nil); !strings.Contains(got, "longer than a megabyte") {
		t.Errorf("a long line: %s", got)
	}
}

// Where a copy finds no room the message says where and what to do.
func TestNoRoomForACopy(t *testing.T) {
	t.Setenv("TMPDIR", filepath.Join(t.TempDir(), "none"))
	in := io.MultiReader(strings.NewReader(extremeHeader), io.LimitReader(&repeated{text: ",,,,,,\n"}, temporary.Memory+7))
	_, err := Read(context.Background(), []string{"-"}, Options{Stdin: in}, func(*Run) error { return nil })
	if err == nil || !strings.Contains(err.Error(), "TMPDIR") {
		t.Errorf("error %v", err)
	}
}
