package spill

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"os"
	"strings"
	"syscall"
	"testing"
)

// Whatever the budget, what was appended comes back: across the pieces of memory,
// the edge between memory and file, and bytes that wait to be written.
func TestReadBack(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	for _, budget := range []int64{-1, 0, 1, 1000, chunk - 1, chunk, chunk + 1, 3*chunk + 7, 1 << 30} {
		r := rand.New(rand.NewPCG(1, 2))
		s := New(budget)
		var all []byte
		var starts []int64
		for range 60 {
			p := make([]byte, r.IntN(60_000))
			for i := range p {
				p[i] = byte(r.Uint32())
			}
			at, err := s.Append(p)
			if err != nil || at != int64(len(all)) {
				t.Fatalf("budget %d: appended at %d, %v; want %d", budget, at, err, len(all))
			}
			starts, all = append(starts, at), append(all, p...)
			from := starts[r.IntN(len(starts))] // also between the writes
			got := make([]byte, min(100, int64(len(all))-from))
			if err := s.Read(got, from); err != nil || !bytes.Equal(got, all[from:from+int64(len(got))]) {
				t.Fatalf("budget %d: %d bytes from %d differ, %v", budget, len(got), from, err)
			}
		}
		got := make([]byte, len(all))
		if err := s.Read(got, 0); err != nil || !bytes.Equal(got, all) || s.Size() != int64(len(all)) {
			t.Errorf("budget %d: the whole differs, %v", budget, err)
		}
		if inMemory := min(max(budget, 0), int64(len(all))); (s.file != nil) != (int64(len(all)) > inMemory) {
			t.Errorf("budget %d: %d bytes, file %v", budget, len(all), s.file != nil)
		}
		if err := s.Close(); err != nil {
			t.Errorf("budget %d: %v", budget, err)
		}
	}
}

func TestReadBeyond(t *testing.T) {
	s := New(10)
	if _, err := s.Append([]byte("abc")); err != nil {
		t.Fatal(err)
	}
	for _, at := range []int64{-1, 1, 4} {
		if err := s.Read(make([]byte, 3), at); err == nil {
			t.Errorf("3 bytes from %d of 3 were read", at)
		}
	}
}

// The file has no name while it is used, so that nothing is left behind however the
// process ends.
func TestNothingLeft(t *testing.T) {
	folder := t.TempDir()
	t.Setenv("TMPDIR", folder)
	s := New(0)
	if _, err := s.Append(make([]byte, 2*atOnce)); err != nil {
		t.Fatal(err)
	}
	if s.name == "" { // else the system keeps the names of open files
		if left, err := os.ReadDir(folder); err != nil || len(left) > 0 {
			t.Errorf("in use: %v, %v", left, err)
		}
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if left, err := os.ReadDir(folder); err != nil || len(left) > 0 {
		t.Errorf("closed: %v, %v", left, err)
	}
}

// full is a disk with room for so many bytes.
type full struct{ room int }

func (f *full) WriteAt(p []byte, _ int64) (int, error) {
	if n := f.room; n < len(p) {
		return n, &os.PathError{Op: "write", Path: "/secret/name", Err: syscall.ENOSPC}
	}
	f.room -= len(p)
	return len(p), nil
}
func (f *full) ReadAt([]byte, int64) (int, error) { return 0, errors.New("not asked") }
func (f *full) Close() error                      { return nil }

func TestDiskFull(t *testing.T) {
	t.Setenv("TMPDIR", "/somewhere/")
	s := New(100)
	s.create = func() (file, string, error) { return &full{room: atOnce}, "", nil }
	var err error
	for range 3 {
		if _, err = s.Append(make([]byte, atOnce)); err != nil {
			break
		}
	}
	var e *Error
	if !errors.As(err, &e) || !errors.Is(err, syscall.ENOSPC) {
		t.Fatalf("got %v", err)
	}
	want := "what does not fit into memory cannot be kept in a temporary file in /somewhere: no space left on device; make room there, or name another folder in TMPDIR"
	if err.Error() != want {
		t.Errorf("got  %s\nwant %s", err, want)
	}
}

func TestNoFolder(t *testing.T) {
	t.Setenv("TMPDIR", "/somewhere/not/there")
	s := New(0)
	_, err := s.Append([]byte("x"))
	if err == nil || !strings.Contains(err.Error(), "/somewhere/not/there: no such file or directory; make room there, or name") {
		t.Errorf("got %v", err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}
