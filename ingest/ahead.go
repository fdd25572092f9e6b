package ingest

import (
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
)

// Small plain files are read ahead, side by side, while what was read before is looked
// at in turn: opening them is most of what it takes to find where their rows stand.
const (
	aheadFile  = 256 << 10 // larger ones are left to their turn
	aheadFiles = 16        // so many are read ahead at a time
)

// A peeked file is one that was read ahead.
type peeked struct {
	source *source // nil where the file is left to its turn, and what is wrong with it too
	text   *[]byte
}

// An aheadReader reads the files of a list ahead, in their order.
type aheadReader struct {
	queue   chan chan peeked
	stopped chan struct{}
	running sync.WaitGroup
	texts   sync.Pool
}

// readAhead begins with the files; keep is that of their sources. stop must follow.
func readAhead(files []found, keep bool) *aheadReader {
	a := &aheadReader{queue: make(chan chan peeked, aheadFiles), stopped: make(chan struct{})}
	a.texts.New = func() any { return new([]byte) }
	type job struct {
		file   *found
		answer chan peeked
	}
	jobs := make(chan job)
	for range min(runtime.GOMAXPROCS(0), aheadFiles, len(files)) {
		a.running.Go(func() {
			for j := range jobs {
				j.answer <- a.peek(j.file, keep)
			}
		})
	}
	a.running.Go(func() {
		defer close(a.queue)
		defer close(jobs)
		for i := range files {
			j := job{&files[i], make(chan peeked, 1)}
			select {
			case a.queue <- j.answer:
			case <-a.stopped:
				return
			}
			jobs <- j // a worker is always there to take it
		}
	})
	return a
}

// next is the next file of the list.
func (a *aheadReader) next() peeked { return <-<-a.queue }

// done gives back the text of a file, which nobody looks at any more.
func (a *aheadReader) done(p peeked) {
	if p.text != nil {
		a.texts.Put(p.text)
	}
}

func (a *aheadReader) stop() {
	close(a.stopped)
	a.running.Wait()
}

// peek reads a file if it is a small plain one.
func (a *aheadReader) peek(f *found, keep bool) (p peeked) {
	if f.list != nil || f.size < 0 || f.size > aheadFile || strings.EqualFold(filepath.Ext(f.path), ".gz") {
		return p
	}
	if f.claim != nil { // found by its name alone: what is no plain file may wait for ever
		if info, err := os.Stat(f.path); err != nil || !info.Mode().IsRegular() {
			return p
		}
	}
	file, err := os.Open(f.path)
	if err != nil {
		return p
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil || !info.Mode().IsRegular() || info.Size() > aheadFile {
		return p
	}
	text := a.texts.Get().(*[]byte)
	*text = slices.Grow((*text)[:0], int(info.Size())+1)[:info.Size()] // never nil
	if _, err := io.ReadFull(file, *text); err != nil || strings.HasPrefix(string((*text)[:min(len(*text), len(gzipMagic))]), gzipMagic) {
		a.texts.Put(text)
		return p
	}
	return peeked{&source{path: f.path, keep: keep, size: info.Size(), changed: info.ModTime()}, text}
}
