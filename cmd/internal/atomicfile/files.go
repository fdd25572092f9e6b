package atomicfile

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// Files are the operations of a file system that Write needs.
type Files interface {
	Stat(path string) (fs.FileInfo, error) // follows symbolic links
	Resolve(path string) (string, error)   // the path without symbolic links
	Create(path string) (File, error)      // a new file; fs.ErrExist if there is one
	Open(path string) (File, error)        // an existing device or pipe, to write
	Rename(from, to string) error          // replaces what is there
	Mkdir(path string) error               // a new folder; fs.ErrExist if there is one
	MkdirAll(path string) error            // with those above it, where there are none
	RemoveAll(path string) error           // of a folder also what is in it
	SyncFolder(path string) error          // forces the folder's entries to the disk
}

// A File is open for writing.
type File interface {
	io.WriteCloser
	Chmod(fs.FileMode) error
	Sync() error // forces the content to the disk
}

// disk is the operating system's.
type disk struct{}

func (disk) Stat(path string) (fs.FileInfo, error) { return os.Stat(path) }
func (disk) Resolve(path string) (string, error)   { return filepath.EvalSymlinks(path) }
func (disk) Rename(from, to string) error          { return bare(os.Rename(from, to)) }
func (disk) Mkdir(path string) error               { return os.Mkdir(path, 0o777) }
func (disk) MkdirAll(path string) error            { return os.MkdirAll(path, 0o777) }
func (disk) RemoveAll(path string) error           { return os.RemoveAll(path) }

func (disk) Create(path string) (File, error) {
	return opened(os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666))
}

func (disk) Open(path string) (File, error) { return opened(os.OpenFile(path, os.O_WRONLY, 0)) }

// opened keeps a failed opening from becoming a File that is not nil.
func opened(f *os.File, err error) (File, error) {
	if err != nil {
		return nil, err
	}
	return f, nil
}

func (disk) SyncFolder(path string) error {
	folder, err := os.Open(path)
	if err != nil {
		return err
	}
	defer folder.Close()
	err = folder.Sync()
	if errors.Is(err, syscall.EINVAL) || errors.Is(err, syscall.ENOTSUP) {
		return nil // a file system that keeps no folders to sync
	}
	return err
}

// bare takes the two names off an error of renaming, one of which is hidden.
func bare(err error) error {
	var link *os.LinkError
	if errors.As(err, &link) {
		return link.Err
	}
	return err
}
