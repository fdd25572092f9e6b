package atomicfile

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

func text(s string) func(io.Writer) error {
	return func(w io.Writer) error { _, err := io.WriteString(w, s); return err }
}

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// onlyEntries fails unless the folder holds just these names.
func onlyEntries(t *testing.T, dir string, want ...string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		got = append(got, e.Name())
	}
	if strings.Join(got, " ") != strings.Join(want, " ") {
		t.Errorf("the folder holds %q, want %q", got, want)
	}
}

func TestNewAndExisting(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "out.json")
	if err := Write(path, text("one")); err != nil {
		t.Fatal(err)
	}
	if got := read(t, path); got != "one" {
		t.Errorf("new file holds %q", got)
	}
	for _, perm := range []fs.FileMode{0o600, 0o640, 0o777} {
		if err := os.Chmod(path, perm); err != nil {
			t.Fatal(err)
		}
		if err := Write(path, text("two")); err != nil {
			t.Fatal(err)
		}
		info, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		if got := info.Mode().Perm(); got != perm || read(t, path) != "two" {
			t.Errorf("permissions %o became %o, content %q", perm, got, read(t, path))
		}
	}
	onlyEntries(t, dir, "out.json")
}

func TestNewFileFollowsUmask(t *testing.T) {
	dir := t.TempDir()
	plain, ours := filepath.Join(dir, "a"), filepath.Join(dir, "b")
	if err := os.WriteFile(plain, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	if err := Write(ours, text("")); err != nil {
		t.Fatal(err)
	}
	a, _ := os.Stat(plain)
	b, _ := os.Stat(ours)
	if a.Mode() != b.Mode() {
		t.Errorf("mode %v, want %v as any new file", b.Mode(), a.Mode())
	}
}

func TestLinkStays(t *testing.T) {
	dir := t.TempDir()
	target, link := filepath.Join(dir, "target"), filepath.Join(dir, "link")
	if err := os.WriteFile(target, []byte("old"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("target", link); err != nil {
		t.Fatal(err)
	}
	if err := Write(link, text("new")); err != nil {
		t.Fatal(err)
	}
	if got := read(t, target); got != "new" {
		t.Errorf("target holds %q", got)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&fs.ModeSymlink == 0 {
		t.Errorf("the link is gone: %v, %v", info, err)
	}
}

func TestDeviceIsWrittenNotReplaced(t *testing.T) {
	if err := Write(os.DevNull, text("x")); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(os.DevNull); err != nil || info.Mode().IsRegular() {
		t.Errorf("%s was replaced: %v, %v", os.DevNull, info, err)
	}
}

func TestFillFails(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "out")
	if err := os.WriteFile(path, []byte("old"), 0o644); err != nil {
		t.Fatal(err)
	}
	broken := errors.New("not a finite number")
	err := Write(path, func(w io.Writer) error {
		_, _ = io.WriteString(w, "half")
		return broken
	})
	if err != broken {
		t.Errorf("error %v, want fill's own", err)
	}
	if got := read(t, path); got != "old" {
		t.Errorf("the file holds %q", got)
	}
	onlyEntries(t, dir, "out")
}

func TestRefusals(t *testing.T) {
	dir := t.TempDir()
	guarded := filepath.Join(dir, "guarded")
	if err := os.WriteFile(guarded, []byte("old"), 0o444); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct{ path, want string }{
		{"", "the name is empty; name a file"},
		{dir, "it is a folder; name a file in it"},
		{filepath.Join(dir, "no", "out"), "the folder " + filepath.Join(dir, "no") + " does not exist; create it or name another place"},
		{filepath.Join(guarded, "out"), guarded + " is not a folder; name another place"},
		{guarded, "the file is write-protected; name another file, or lift its protection"},
		{filepath.Join(dir, strings.Repeat("x", 300)), "the name is too long; choose a shorter one"},
	} {
		err := Write(tt.path, text("new"))
		var e *Error
		if !errors.As(err, &e) || e.Placed || !strings.HasSuffix(err.Error(), ": "+tt.want) {
			t.Errorf("%s: error %v, want it to end %q", tt.path, err, tt.want)
		}
	}
	if got := read(t, guarded); got != "old" {
		t.Errorf("the protected file holds %q", got)
	}
	onlyEntries(t, dir, "guarded")
}

// failing does what the disk does, but for the step named.
type failing struct {
	disk
	step string
	err  error
}

func (f *failing) fail(step string) error {
	if f.step == step {
		return f.err
	}
	return nil
}

func (f *failing) Stat(path string) (fs.FileInfo, error) {
	if err := f.fail("stat"); err != nil {
		return nil, err
	}
	return f.disk.Stat(path)
}

func (f *failing) Resolve(path string) (string, error) {
	if err := f.fail("resolve"); err != nil {
		return "", err
	}
	return f.disk.Resolve(path)
}

func (f *failing) Create(path string) (File, error) {
	if err := f.fail("create"); err != nil {
		return nil, err
	}
	file, err := f.disk.Create(path)
	return failingFile{file, f}, err
}

func (f *failing) Rename(from, to string) error {
	if err := f.fail("rename"); err != nil {
		return err
	}
	return f.disk.Rename(from, to)
}

func (f *failing) Mkdir(path string) error {
	if err := f.fail("mkdir"); err != nil {
		return err
	}
	return f.disk.Mkdir(path)
}

func (f *failing) MkdirAll(path string) error {
	if err := f.fail("mkdir above"); err != nil {
		return err
	}
	return f.disk.MkdirAll(path)
}

func (f *failing) SyncFolder(path string) error {
	if err := f.fail("sync folder"); err != nil {
		return err
	}
	return f.disk.SyncFolder(path)
}

type failingFile struct {
	File
	f *failing
}

func (f failingFile) Write(p []byte) (int, error) {
	if err := f.f.fail("write"); err != nil {
		return 0, err
	}
	return f.File.Write(p)
}

func (f failingFile) Chmod(m fs.FileMode) error {
	if err := f.f.fail("chmod"); err != nil {
		return err
	}
	return f.File.Chmod(m)
}

func (f failingFile) Sync() error {
	if err := f.f.fail("sync"); err != nil {
		return err
	}
	return f.File.Sync()
}

func (f failingFile) Close() error {
	if err := f.f.fail("close"); err != nil {
		_ = f.File.Close()
		return err
	}
	return f.File.Close()
}

// Whichever step fails, the old content stands, nothing is left lying about,
// and the error says what to do. Only the last step comes after the file is in
// its place, and says so.
func TestEveryStepMayFail(t *testing.T) {
	steps := []string{"stat", "resolve", "create", "write", "chmod", "sync", "close", "rename", "sync folder"}
	for _, step := range steps {
		for i, cause := range []error{syscall.ENOSPC, syscall.EIO, &fs.PathError{Op: "x", Path: ".out.hidden.tmp", Err: syscall.EACCES}} {
			t.Run(fmt.Sprintf("%s/%d", step, i), func(t *testing.T) {
				dir := t.TempDir()
				path := filepath.Join(dir, "out")
				if err := os.WriteFile(path, []byte("old"), 0o644); err != nil {
					t.Fatal(err)
				}
				files := &failing{step: step, err: cause}
				// fill ignores its own failures, as a buffered writer may.
				err := WriteOn(files, path, func(w io.Writer) error { _, _ = io.WriteString(w, "new"); return nil })
				var e *Error
				if !errors.As(err, &e) || !errors.Is(err, cause) {
					t.Fatalf("error %v, want an *Error of %v", err, cause)
				}
				if e.Mend == "" || !strings.Contains(err.Error(), path) || strings.Contains(err.Error(), ".tmp") {
					t.Errorf("unhelpful: %v", err)
				}
				want := "old"
				if step == "sync folder" {
					want = "new"
				}
				if got := read(t, path); got != want || e.Placed != (want == "new") {
					t.Errorf("the file holds %q, placed %v", got, e.Placed)
				}
				onlyEntries(t, dir, "out")
			})
		}
	}
}

func TestNewFileFailsWithoutTrace(t *testing.T) {
	for _, step := range []string{"create", "write", "sync", "close", "rename"} {
		dir := t.TempDir()
		if err := WriteOn(&failing{step: step, err: syscall.EIO}, filepath.Join(dir, "out"), text("new")); err == nil {
			t.Errorf("%s: no error", step)
		}
		onlyEntries(t, dir)
	}
}
