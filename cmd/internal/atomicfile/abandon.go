package atomicfile

import (
	"errors"
	"sync"
)

// ErrAbandoned is what writing ends with after Abandon.
var ErrAbandoned = errors.New("writing was abandoned")

// hidden are the files and folders of this process that have not taken their places yet.
var hidden = waiting{by: map[string]Files{}}

// waiting holds hidden files by their names.
type waiting struct {
	mu        sync.Mutex
	by        map[string]Files
	abandoned bool
}

// Abandon removes every hidden file of this process and lets no further one take
// its place: it is for a process that is about to end while others of its
// goroutines may be writing. What has taken its place stays.
func Abandon() {
	hidden.mu.Lock()
	defer hidden.mu.Unlock()
	hidden.abandoned = true
	for name, files := range hidden.by {
		_ = files.RemoveAll(name) // there is nobody to tell
	}
	clear(hidden.by)
}

// create makes a hidden file.
func (w *waiting) create(files Files, name string) (file File, err error) {
	err = w.make(files, name, func() error {
		file, err = files.Create(name)
		return err
	})
	return file, err
}

// make makes the hidden file or folder name.
func (w *waiting) make(files Files, name string, do func() error) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.abandoned {
		return ErrAbandoned
	}
	err := do()
	if err == nil {
		w.by[name] = files
	}
	return err
}

// place lets the hidden file or folder name take the place of target; path is what the
// user calls it.
func place(files Files, name, target, path string) error {
	hidden.mu.Lock()
	defer hidden.mu.Unlock()
	if hidden.abandoned {
		return ErrAbandoned
	}
	if err := files.Rename(name, target); err != nil {
		return explain(path, err)
	}
	delete(hidden.by, name)
	return nil
}

// discard removes a hidden file or folder that will not be needed.
func discard(files Files, name string) {
	hidden.mu.Lock()
	defer hidden.mu.Unlock()
	_ = files.RemoveAll(name)
	delete(hidden.by, name)
}
