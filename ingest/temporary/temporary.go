// Package temporary makes files for what is too large for memory. It knows nothing of
// what they hold.
package temporary

import "os"

// Pattern is how their names look, where they have any.
const Pattern = "sealbound-*"

// Memory is how many bytes are kept in memory before a file is made.
const Memory = 8 << 20

// A File is open for reading and writing. It has no name any more where the system
// removes files that are open, so that nothing stays behind whatever ends the process;
// elsewhere Close removes it.
type File struct {
	*os.File
	nameless bool
}

// New makes a file in the folder for temporary ones.
func New() (*File, error) {
	f, err := os.CreateTemp("", Pattern)
	if err != nil {
		return nil, err
	}
	return &File{f, os.Remove(f.Name()) == nil}, nil
}

// Close gives the file back.
func (f *File) Close() error {
	err := f.File.Close()
	if !f.nameless {
		if removed := os.Remove(f.Name()); err == nil {
			err = removed
		}
	}
	return err
}
