package ingest

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"sealbound/ingest/reading"
	"sealbound/ingest/temporary"
)

// What is read more than once must stay where it is: a plain file is opened
// again, anything else (standard input, .gz, a pipe) is first copied into memory
// or, beyond temporary.Memory, into a temporary file.
const (
	cacheFile   = 1 << 20  // a plain file up to this size is kept in memory
	cacheTotal  = 4 << 20  // of all those together
	openAtOnce  = 64       // plain files kept open between uses
	mostPacked  = 200      // times its packed size: readings shrink to a tenth, a bomb to a thousandth
	fewUnpacked = 64 << 20 // up to here any packing is taken
	gzipMagic   = "\x1f\x8b"
)

// A source gives random access to the text of one file.
type source struct {
	path string
	size int64

	memory  []byte          // where it is small
	spool   *temporary.File // where it was copied
	changed time.Time

	mu      sync.Mutex
	handle  *os.File
	users   int
	keep    bool // keep the handle between uses
	refused func(head []byte) bool
}

// errBadGzip is a .gz file that cannot be unpacked: a problem of the data.
type errBadGzip struct{ err error }

func (e errBadGzip) Error() string { return "cannot be unpacked: " + e.err.Error() }

// asBadGzip tells such a file from one that cannot be read.
func asBadGzip(err error) (bad errBadGzip, ok bool) {
	ok = errors.As(err, &bad)
	return bad, ok
}

func (e errBadGzip) problem(path string) reading.Problem {
	return reading.Problem{File: path, What: "the file cannot be unpacked (" + strings.TrimPrefix(e.err.Error(), "gzip: ") + ")", Mend: "pack it again, or give it unpacked"}
}

// openSource prepares path for reading. cache is how much memory plain files may
// still take; what this one takes is subtracted.
func openSource(ctx context.Context, path string, stdin io.Reader, keep bool, cache *int64) (*source, error) {
	return openEndless(ctx, path, stdin, keep, cache, nil)
}

// openEndless is openSource for what may have no end: refused, if it is not nil,
// tells from the beginning of a file that it is going to be refused, and then
// what has to be copied is cut there.
func openEndless(ctx context.Context, path string, stdin io.Reader, keep bool, cache *int64, refused func(head []byte) bool) (*source, error) {
	s := &source{path: path, keep: keep, refused: refused}
	defer func() { s.refused = nil }() // it holds on to much
	if path == stdinPath {
		if stdin == nil {
			return nil, errors.New("standard input is not to be had here")
		}
		return s, s.copyFrom(ctx, stdin)
	}
	f, err := openPath(path)
	if err != nil {
		return nil, plain(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, plain(err)
	}
	if info.IsDir() {
		return nil, fmt.Errorf("%s: is a folder", path)
	}
	magic := make([]byte, len(gzipMagic))
	if info.Mode()&os.ModeNamedPipe != 0 {
		return s, s.copyFrom(ctx, &pipe{ctx: ctx, in: f, until: time.Now().Add(pipePatience)})
	}
	if !info.Mode().IsRegular() {
		return s, s.copyFrom(ctx, f)
	}
	if n, err := f.ReadAt(magic, 0); err != nil && err != io.EOF {
		return nil, plain(err)
	} else if string(magic[:n]) == gzipMagic || n > 0 && strings.EqualFold(filepath.Ext(path), ".gz") {
		return s, s.copyFrom(ctx, f)
	}
	s.size, s.changed = info.Size(), info.ModTime()
	if s.size <= cacheFile && s.size <= *cache {
		*cache -= s.size
		s.memory = make([]byte, s.size)
		if _, err := io.ReadFull(io.NewSectionReader(f, 0, s.size), s.memory); err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
	}
	return s, nil
}

// forget gives back the text of a plain file, or keeps a copy while there is room for it.
func (s *source) forget(cache *int64) {
	if s.size > *cache {
		s.memory = nil
		return
	}
	*cache -= s.size
	s.memory = slices.Clone(s.memory)
}

// copyFrom keeps what in yields, unpacked where it is packed.
func (s *source) copyFrom(ctx context.Context, in io.Reader) error {
	packed := &counting{in: contextReader{ctx, in}}
	buffered := bufio.NewReaderSize(packed, 1<<16)
	in = buffered
	if magic, _ := buffered.Peek(len(gzipMagic)); string(magic) == gzipMagic || strings.EqualFold(filepath.Ext(s.path), ".gz") {
		z, err := gzip.NewReader(buffered)
		if err != nil {
			return s.reason(ctx, errBadGzip{err})
		}
		in = &unpacking{in: z, packed: packed}
	}
	var memory bytes.Buffer
	_, err := io.CopyN(&memory, in, temporary.Memory)
	switch {
	case err == io.EOF:
		s.memory, s.size = memory.Bytes(), int64(memory.Len())
		if s.memory == nil {
			s.memory = []byte{}
		}
		return nil
	case err != nil:
		return s.reason(ctx, err)
	}
	if s.refused != nil && s.refused(memory.Bytes()) {
		s.memory, s.size = memory.Bytes(), int64(memory.Len())
		return nil
	}
	spool, err := temporary.New()
	if err != nil {
		return s.noRoom(err)
	}
	s.spool = spool
	n, err := io.Copy(spool, io.MultiReader(&memory, in))
	if err != nil {
		s.close()
		return s.reason(ctx, err)
	}
	s.size = n
	return nil
}

// noRoom explains that the temporary folder does not take a copy.
func (s *source) noRoom(err error) error {
	return fmt.Errorf("%s: no room to keep a copy in %s, which what is not a plain file needs: %w; make room, name another folder in TMPDIR, or give a plain file", s.path, os.TempDir(), plain(err))
}

// reason tells data that cannot be unpacked from a source that cannot be read.
func (s *source) reason(ctx context.Context, err error) error {
	var bad errBadGzip
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.As(err, &bad):
		return bad
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT), errors.Is(err, syscall.EFBIG):
		return s.noRoom(err)
	case errors.Is(err, gzip.ErrChecksum), errors.Is(err, gzip.ErrHeader), errors.Is(err, io.ErrUnexpectedEOF), strings.HasPrefix(err.Error(), "flate:"):
		return errBadGzip{err}
	}
	return fmt.Errorf("%s: %w", s.path, plain(err))
}

// counting counts what was read.
type counting struct {
	in io.Reader
	n  int64
}

func (c *counting) Read(b []byte) (int, error) {
	n, err := c.in.Read(b)
	c.n += int64(n)
	return n, err
}

// unpacking ends where more comes out than any readings would give.
type unpacking struct {
	in     io.Reader
	packed *counting
	n      int64
}

func (u *unpacking) Read(b []byte) (int, error) {
	n, err := u.in.Read(b)
	if u.n += int64(n); u.n > fewUnpacked && u.n > mostPacked*u.packed.n {
		return 0, errBadGzip{fmt.Errorf("it unpacks to more than %d times its size", mostPacked)}
	}
	return n, err
}

type contextReader struct {
	ctx context.Context
	in  io.Reader
}

func (r contextReader) Read(b []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	return r.in.Read(b)
}

// acquire gives access to the text; release must follow.
func (s *source) acquire() (io.ReaderAt, error) {
	if s.memory != nil {
		return bytes.NewReader(s.memory), nil
	}
	if s.spool != nil {
		return s.spool, nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.handle == nil {
		f, err := os.Open(s.path)
		if err != nil {
			return nil, plain(err)
		}
		info, err := f.Stat()
		if err == nil && (info.Size() != s.size || !info.ModTime().Equal(s.changed)) {
			err = errors.New("the file was changed while it was read")
		}
		if err != nil {
			f.Close()
			return nil, fmt.Errorf("%s: %w", s.path, plain(err))
		}
		s.handle = f
	}
	s.users++
	return s.handle, nil
}

func (s *source) release() {
	if s.memory != nil || s.spool != nil {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.users--; s.users == 0 && !s.keep {
		s.handle.Close()
		s.handle = nil
	}
}

// close gives back all that the source holds.
func (s *source) close() {
	if s.handle != nil {
		s.handle.Close()
		s.handle = nil
	}
	if s.spool != nil {
		s.spool.Close() // it was only read
		s.spool = nil
	}
}
