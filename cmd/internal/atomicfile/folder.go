package atomicfile

import (
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"path/filepath"
	"strings"
)

// Folder makes the folder path with what fill writes into it; there must be
// none of that name. Folders above it are made where they are missing. fill is
// given a hidden folder beside path, which takes its place once fill is done; if
// anything fails the hidden folder is removed with all that is in it. An error
// of fill is returned with path in the place of the hidden name, any other is an
// *Error.
func Folder(path string, fill func(dir string) error) error {
	return FolderOn(disk{}, path, fill)
}

// FolderOn is Folder on other files than those of the operating system.
func FolderOn(files Files, path string, fill func(dir string) error) error {
	if path == "" {
		return &Error{Path: `""`, Why: "the name is empty", Mend: "name a folder"}
	}
	path = filepath.Clean(path)
	above := filepath.Dir(path)
	if err := files.MkdirAll(above); err != nil {
		return explain(path, err)
	}
	name, err := createFolder(files, path)
	if errors.Is(err, ErrAbandoned) {
		return err
	}
	if err != nil {
		return explain(path, err)
	}
	if err = fill(name); err != nil {
		var e *Error
		if errors.As(err, &e) {
			for _, s := range []*string{&e.Path, &e.Why, &e.Mend} {
				*s = strings.ReplaceAll(*s, name, path)
			}
		}
	}
	if err == nil {
		err = place(files, name, path, path)
	}
	if err != nil {
		discard(files, name) // the first error is the one to tell
		return err
	}
	if err := files.SyncFolder(above); err != nil {
		return &Error{Path: path, Why: reason(err), Placed: true, Err: err,
			Mend: "a power cut now may lose it: check the disk and write it again"}
	}
	return nil
}

// createFolder makes a hidden folder beside path, under a name that nothing has.
func createFolder(files Files, path string) (string, error) {
	for try := 0; ; try++ {
		name := hiddenName(path)
		err := hidden.make(files, name, func() error { return files.Mkdir(name) })
		if err == nil || !errors.Is(err, fs.ErrExist) || try == 100 {
			return name, err
		}
	}
}

// hiddenName is a name beside target that hardly anything has.
func hiddenName(target string) string {
	base := filepath.Base(target)
	if len(base) > 200 { // names end at 255 bytes in most file systems
		base = base[:200]
	}
	return filepath.Join(filepath.Dir(target), fmt.Sprintf(".%s.%08x.tmp", base, rand.Uint32()))
}
