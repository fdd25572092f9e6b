package columnar

import (
	"bytes"
	"io"
	"os"
)

// spoolMemory is how much a spool keeps in memory.
const spoolMemory = 8 << 20

// A spool keeps what is written until it is asked for: the checksum of a stream
// stands at its beginning and is known at its end. Beyond spoolMemory it lies in a
// temporary file, which loses its name at once where the system allows that, so that
// nothing stays behind whatever ends the process.
type spool struct {
	memory   bytes.Buffer
	file     *os.File
	nameless bool
}

func (s *spool) Write(b []byte) (int, error) {
	if s.file == nil && s.memory.Len()+len(b) <= spoolMemory {
		return s.memory.Write(b)
	}
	if s.file == nil {
		f, err := os.CreateTemp("", "sealbound-*")
		if err != nil {
			return 0, err
		}
		s.file, s.nameless = f, os.Remove(f.Name()) == nil
	}
	return s.file.Write(b)
}

// copyTo writes to w what was written here.
func (s *spool) copyTo(w io.Writer) error {
	if _, err := w.Write(s.memory.Bytes()); err != nil || s.file == nil {
		return err
	}
	if _, err := s.file.Seek(0, io.SeekStart); err != nil {
		return err
	}
	_, err := io.Copy(w, s.file)
	return err
}

func (s *spool) close() {
	s.memory = bytes.Buffer{}
	if s.file != nil {
		s.file.Close()
		if !s.nameless {
			os.Remove(s.file.Name())
		}
		s.file = nil
	}
}
