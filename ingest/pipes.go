package ingest

import (
	"context"
	"io"
	"os"
	"syscall"
	"time"
)

// pipePatience is how long a pipe that nobody has written to is waited for. A
// variable for tests.
var pipePatience = 5 * time.Second

// openPath opens path for reading, a pipe without waiting for who writes to it.
func openPath(path string) (*os.File, error) {
	if info, err := os.Stat(path); err == nil && info.Mode()&os.ModeNamedPipe != 0 {
		return os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	}
	return os.Open(path)
}

// A pipe is at its end at once as long as nobody has opened it for writing. It
// is given some time for that.
type pipe struct {
	ctx   context.Context
	in    io.Reader
	until time.Time
	begun bool
}

func (p *pipe) Read(b []byte) (int, error) {
	for {
		n, err := p.in.Read(b)
		p.begun = p.begun || n > 0
		if err != io.EOF || p.begun || len(b) == 0 || time.Now().After(p.until) {
			return n, err
		}
		select {
		case <-p.ctx.Done():
			return 0, p.ctx.Err()
		case <-time.After(10 * time.Millisecond):
		}
	}
}
