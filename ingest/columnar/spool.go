package columnar

import (
	"bytes"
	"io"

	"sealbound/ingest/temporary"
)

// A spool keeps what is written until it is asked for: the checksum of a stream
// stands at its beginning and is known at its end. Beyond temporary.Memory it lies in a
// temporary file.
type spool struct {
	memory bytes.Buffer
	file   *temporary.File
}

func (s *spool) Write(b []byte) (n int, err error) {
	if s.file == nil && s.memory.Len()+len(b) <= temporary.Memory {
		return s.memory.Write(b)
	}
	if s.file == nil {
		if s.file, err = temporary.New(); err != nil {
			return 0, err
		}
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
		s.file.Close() // it was only read
		s.file = nil
	}
}
