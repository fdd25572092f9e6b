// Package atomicfile writes a file whole or not at all: whoever looks at the
// path sees the old content or the new, never a part, also after a crash.
package atomicfile

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"syscall"
)

// An Error says which file could not be written, why, and what would mend it.
// Unless Placed is set the path is as it was before.
type Error struct {
	Path   string
	Why    string
	Mend   string
	Placed bool  // the new content stands at Path; only its safe-keeping failed
	Err    error // may be nil
}

func (e *Error) Error() string {
	s := "cannot write " + e.Path
	if e.Placed {
		s = e.Path + " is written, but not safe yet"
	}
	return fmt.Sprintf("%s: %s; %s", s, e.Why, e.Mend)
}

func (e *Error) Unwrap() error { return e.Err }

// Write puts what fill writes at path. The content goes to a hidden file in the
// same folder, is forced to the disk and then takes the path's place; if
// anything fails before that, also fill, the hidden file is removed and path
// stays as it was. An error of fill is returned as it is, any other is an
// *Error.
//
// An existing file keeps its permissions; one that is write-protected is left
// alone. A new one gets those that the user's umask allows. A symbolic link
// stays, and the file it names is replaced. Where path is no file that can be
// replaced, a device or a pipe, the content is written straight to it, once it
// is complete.
func Write(path string, fill func(io.Writer) error) error {
	return WriteOn(disk{}, path, fill)
}

// WriteOn is Write on other files than those of the operating system.
func WriteOn(files Files, path string, fill func(io.Writer) error) error {
	if path == "" {
		return &Error{Path: `""`, Why: "the name is empty", Mend: "name a file"}
	}
	info, err := files.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return replace(files, path, path, nil, fill)
	case err != nil:
		return explain(path, err)
	case info.IsDir():
		return &Error{Path: path, Why: "it is a folder", Mend: "name a file in it"}
	case !info.Mode().IsRegular():
		return straight(files, path, fill)
	case info.Mode().Perm()&0o200 == 0:
		return &Error{Path: path, Why: "the file is write-protected", Mend: "name another file, or lift its protection"}
	}
	target, err := files.Resolve(path)
	if err != nil {
		return explain(path, err)
	}
	perm := info.Mode().Perm()
	return replace(files, path, target, &perm, fill)
}

// replace writes beside target and renames onto it; perm is nil for a new file.
func replace(files Files, path, target string, perm *fs.FileMode, fill func(io.Writer) error) error {
	file, name, err := create(files, target)
	if errors.Is(err, ErrAbandoned) {
		return err
	}
	if err != nil {
		return explain(path, err)
	}
	err = complete(file, path, perm, fill)
	if err == nil {
		err = place(files, name, target, path)
	}
	if err != nil {
		discard(files, name) // the first error is the one to tell
		return err
	}
	if err := files.SyncFolder(filepath.Dir(target)); err != nil {
		return &Error{Path: path, Why: reason(err), Placed: true, Err: err,
			Mend: "a power cut now may lose it: check the disk and write it again"}
	}
	return nil
}

// complete fills, forces to the disk and closes file, whatever happens.
func complete(file File, path string, perm *fs.FileMode, fill func(io.Writer) error) error {
	w := &watched{to: file}
	err := fill(w)
	if w.err != nil {
		err = explain(path, w.err) // the cause, whatever fill made of it
	}
	if err == nil && perm != nil {
		if failed := file.Chmod(*perm); failed != nil {
			err = explain(path, failed)
		}
	}
	if err == nil {
		if failed := file.Sync(); failed != nil {
			err = explain(path, failed)
		}
	}
	if failed := file.Close(); err == nil && failed != nil {
		err = explain(path, failed)
	}
	return err
}

// watched remembers the first failed write.
type watched struct {
	to  io.Writer
	err error
}

func (w *watched) Write(p []byte) (int, error) {
	n, err := w.to.Write(p)
	if err != nil && w.err == nil {
		w.err = err
	}
	return n, err
}

// create makes a hidden file beside target, under a name that nothing has.
func create(files Files, target string) (File, string, error) {
	for try := 0; ; try++ {
		name := hiddenName(target)
		file, err := hidden.create(files, name)
		if err == nil || !errors.Is(err, fs.ErrExist) || try == 100 {
			return file, name, err
		}
	}
}

// straight writes to a device or a pipe, which cannot be replaced.
func straight(files Files, path string, fill func(io.Writer) error) error {
	var whole buffer
	if err := fill(&whole); err != nil {
		return err
	}
	file, err := files.Open(path)
	if err != nil {
		return explain(path, err)
	}
	_, err = file.Write(whole)
	if closing := file.Close(); err == nil {
		err = closing
	}
	if err != nil {
		return explain(path, err)
	}
	return nil
}

type buffer []byte

func (b *buffer) Write(p []byte) (int, error) { *b = append(*b, p...); return len(p), nil }

// explain turns an error of the file system into one that helps.
func explain(path string, err error) error {
	e := &Error{Path: path, Why: reason(err), Mend: "name another place", Err: err}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.Why, e.Mend = fmt.Sprintf("the folder %s does not exist", filepath.Dir(path)), "create it or name another place"
	case errors.Is(err, fs.ErrPermission):
		e.Why, e.Mend = fmt.Sprintf("no permission to write in %s", filepath.Dir(path)), "name another place, or ask for the permission"
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		e.Why, e.Mend = "no space is left", "make room or name another place"
	case errors.Is(err, syscall.EFBIG):
		e.Why, e.Mend = "it is larger than a file may be here", "raise the limit, which ulimit -f shows, or name another place"
	case errors.Is(err, syscall.EROFS):
		e.Why = "it can only be read there"
	case errors.Is(err, syscall.ENAMETOOLONG):
		e.Why, e.Mend = "the name is too long", "choose a shorter one"
	case errors.Is(err, syscall.ENOTDIR):
		e.Why = fmt.Sprintf("%s is not a folder", filepath.Dir(path))
	}
	return e
}

// reason is the bare reason, without the hidden file's name.
func reason(err error) string {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err.Error()
	}
	return err.Error()
}
