package atomicfile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// fillTwo writes two files the way a program does.
func fillTwo(dir string) error {
	if err := Write(filepath.Join(dir, "a"), text("one")); err != nil {
		return err
	}
	return Write(filepath.Join(dir, "b"), text("two"))
}

func TestFolder(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "above", "made")
	if err := Folder(path+"/", fillTwo); err != nil {
		t.Fatal(err)
	}
	onlyEntries(t, filepath.Join(dir, "above"), "made")
	onlyEntries(t, path, "a", "b")
	if got := read(t, filepath.Join(path, "b")); got != "two" {
		t.Errorf("a file of it holds %q", got)
	}
	plain := filepath.Join(dir, "plain")
	if err := os.Mkdir(plain, 0o777); err != nil {
		t.Fatal(err)
	}
	a, _ := os.Stat(plain)
	b, _ := os.Stat(path)
	if a.Mode() != b.Mode() {
		t.Errorf("mode %v, want %v as any new folder", b.Mode(), a.Mode())
	}
}

// Whichever step fails, no folder is there and nothing is left lying about.
func TestEveryStepOfAFolderMayFail(t *testing.T) {
	for _, step := range []string{"mkdir above", "mkdir", "rename", "sync folder"} {
		for _, cause := range []error{syscall.ENOSPC, &fs.PathError{Op: "x", Path: ".made.hidden.tmp", Err: syscall.EACCES}} {
			dir := t.TempDir()
			path := filepath.Join(dir, "made")
			err := FolderOn(&failing{step: step, err: cause}, path, fillTwo)
			var e *Error
			if !errors.As(err, &e) || !errors.Is(err, cause) || e.Mend == "" || strings.Contains(err.Error(), ".tmp") {
				t.Fatalf("%s: error %v, want an *Error of %v that helps", step, err, cause)
			}
			if e.Placed != (step == "sync folder") {
				t.Errorf("%s: placed %v", step, e.Placed)
			}
			if e.Placed {
				onlyEntries(t, dir, "made")
			} else {
				onlyEntries(t, dir)
			}
		}
	}
}

// What goes wrong inside is told with the name that the user knows.
func TestFolderIsNotFilled(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "made")
	own := errors.New("no more readings")
	for _, fill := range []func(dir string) error{
		func(dir string) error { _ = fillTwo(dir); return own },
		func(dir string) error {
			_ = fillTwo(dir)
			return Write(filepath.Join(dir, "no", "c"), text("three"))
		},
	} {
		err := Folder(path, fill)
		if err == nil || strings.Contains(err.Error(), ".tmp") || err != own && !strings.Contains(err.Error(), filepath.Join(path, "no", "c")) {
			t.Errorf("error %v", err)
		}
		onlyEntries(t, dir)
	}
	if err := Folder("", fillTwo); err == nil {
		t.Error("a folder without a name was made")
	}
}

// A folder that came to be in between stays as it is.
func TestFolderIsThere(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "made")
	err := Folder(path, func(hidden string) error {
		if err := os.MkdirAll(filepath.Join(path, "other"), 0o777); err != nil {
			t.Fatal(err)
		}
		return fillTwo(hidden)
	})
	if err == nil {
		t.Error("another folder was replaced")
	}
	onlyEntries(t, dir, "made")
	onlyEntries(t, path, "other")
}

// After Abandon nothing hidden is left and nothing takes a place any more, also
// where a write is under way.
func TestAbandon(t *testing.T) {
	defer func() { hidden.abandoned = false }()
	dir := t.TempDir()
	path := filepath.Join(dir, "out")
	if err := Write(path, text("old")); err != nil {
		t.Fatal(err)
	}
	err := Folder(filepath.Join(dir, "made"), func(made string) error {
		if err := fillTwo(made); err != nil {
			return err
		}
		return WriteOn(&abandoning{}, path, text("new"))
	})
	if !errors.Is(err, ErrAbandoned) {
		t.Errorf("error %v, want %v", err, ErrAbandoned)
	}
	onlyEntries(t, dir, "out")
	if got := read(t, path); got != "old" {
		t.Errorf("the file holds %q", got)
	}
	if err := Write(path, text("new")); !errors.Is(err, ErrAbandoned) {
		t.Errorf("a later write: %v", err)
	}
	if err := Folder(filepath.Join(dir, "made"), fillTwo); !errors.Is(err, ErrAbandoned) {
		t.Errorf("a later folder: %v", err)
	}
	onlyEntries(t, dir, "out")
}

// abandoning is a disk on which everything is abandoned while a file is open.
type abandoning struct{ disk }

func (a *abandoning) Create(path string) (File, error) {
	file, err := a.disk.Create(path)
	go Abandon() // waits until the file is counted as hidden
	return &abandoned{file, path}, err
}

type abandoned struct {
	File
	path string
}

// Sync comes back once the file is gone.
func (a *abandoned) Sync() error {
	for {
		if _, err := os.Stat(a.path); err != nil {
			return a.File.Sync()
		}
	}
}
