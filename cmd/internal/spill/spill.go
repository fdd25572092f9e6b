// Package spill keeps bytes that are written once, one block after another, and
// read back later: in memory up to a budget, and beyond it in a temporary file.
package spill

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

const (
	chunk    = 256 << 10 // memory is taken in pieces of this size
	atOnce   = 256 << 10 // the file is written in pieces of this size
	ahead    = 64 << 10  // of the file, where what is read stands in a row
	template = "sealbound-*"
)

// A Store holds what was appended. It is for one goroutine at a time.
type Store struct {
	budget         int64    // bytes that stay in memory; the rest goes to the file
	size           int64    // of all that was appended
	chunks         [][]byte // the first bytes, up to the budget
	file           file     // nil until it is needed
	name           string   // of the file where it could not be removed at once
	written        int64    // bytes in the file
	pending        []byte   // bytes that follow those
	window         []byte   // bytes of the file, from windowAt on
	windowAt, next int64    // next: behind what was read last of the file
	create         func() (f file, name string, err error)
}

// A file is what the store needs of one.
type file interface {
	io.ReaderAt
	io.WriterAt
	io.Closer
}

// New returns a Store that keeps so many bytes in memory. The temporary file is
// made when it is first needed, in the folder that os.TempDir names.
func New(budget int64) *Store { return &Store{budget: max(budget, 0), create: temporary} }

// An Error says that the temporary file could not be used.
type Error struct {
	Folder string
	Err    error
}

func (e *Error) Error() string {
	why := e.Err
	var path *os.PathError
	if errors.As(why, &path) { // its name is of no use to anyone
		why = path.Err
	}
	return fmt.Sprintf("what does not fit into memory cannot be kept in a temporary file in %s: %v; make room there, or name another folder in TMPDIR", e.Folder, why)
}

func (e *Error) Unwrap() error { return e.Err }

// temporary makes a file that is gone when it is closed, or when the process ends
// in whatever way: it is removed at once where the system lets an open file go.
func temporary() (file, string, error) {
	f, err := os.CreateTemp("", template)
	if err != nil {
		return nil, "", err
	}
	if os.Remove(f.Name()) == nil {
		return f, "", nil
	}
	return f, f.Name(), nil
}

// Append adds p and returns where it begins.
func (s *Store) Append(p []byte) (at int64, err error) {
	at = s.size
	for len(p) > 0 && s.size < s.budget {
		i, off := int(s.size/chunk), s.size%chunk
		if i == len(s.chunks) {
			s.chunks = append(s.chunks, make([]byte, min(chunk, s.budget-s.size)))
		}
		n := copy(s.chunks[i][off:], p)
		p, s.size = p[n:], s.size+int64(n)
	}
	if len(p) == 0 {
		return at, nil
	}
	if s.file == nil {
		if s.file, s.name, err = s.create(); err != nil {
			s.file = nil
			return at, s.failed(err)
		}
		s.pending = make([]byte, 0, atOnce)
	}
	for len(p) > 0 {
		n := min(len(p), cap(s.pending)-len(s.pending))
		s.pending = append(s.pending, p[:n]...)
		p, s.size = p[n:], s.size+int64(n)
		if len(s.pending) == cap(s.pending) {
			if err := s.flush(); err != nil {
				return at, err
			}
		}
	}
	return at, nil
}

func (s *Store) flush() error {
	if _, err := s.file.WriteAt(s.pending, s.written); err != nil {
		return s.failed(err)
	}
	s.written += int64(len(s.pending))
	s.pending = s.pending[:0]
	return nil
}

func (s *Store) failed(err error) error { return &Error{filepath.Clean(os.TempDir()), err} }

// Read fills p with the bytes from at on. All of them must have been appended.
func (s *Store) Read(p []byte, at int64) error {
	if at < 0 || at+int64(len(p)) > s.size {
		return fmt.Errorf("spill: bytes %d to %d of %d", at, at+int64(len(p)), s.size)
	}
	for len(p) > 0 && at < s.budget {
		n := copy(p, s.chunks[at/chunk][at%chunk:])
		p, at = p[n:], at+int64(n)
	}
	if at -= s.budget; len(p) > 0 && at < s.written {
		n := min(int64(len(p)), s.written-at)
		if err := s.fromFile(p[:n], at); err != nil {
			return s.failed(err)
		}
		p, at = p[n:], at+n
	}
	if len(p) > 0 {
		copy(p, s.pending[at-s.written:])
	}
	return nil
}

// fromFile fills p from the file. Where that is what follows the last such bytes, more
// is read at once.
func (s *Store) fromFile(p []byte, at int64) error {
	n := int64(len(p))
	follows := at == s.next
	s.next = at + n
	if at >= s.windowAt && at+n <= s.windowAt+int64(len(s.window)) {
		copy(p, s.window[at-s.windowAt:])
		return nil
	}
	if !follows || n >= ahead {
		_, err := s.file.ReadAt(p, at)
		return err
	}
	if s.window == nil {
		s.window = make([]byte, ahead)
	}
	s.window = s.window[:min(ahead, s.written-at)]
	if _, err := s.file.ReadAt(s.window, at); err != nil {
		s.window = s.window[:0]
		return err
	}
	s.windowAt = at
	copy(p, s.window)
	return nil
}

// Size is how many bytes were appended.
func (s *Store) Size() int64 { return s.size }

// Close gives back memory and file. The Store is empty afterwards.
func (s *Store) Close() error {
	var err error
	if s.file != nil {
		err = s.file.Close()
		if s.name != "" {
			err = errors.Join(err, os.Remove(s.name))
		}
	}
	*s = Store{budget: s.budget, create: s.create}
	return err
}
