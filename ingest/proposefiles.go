package ingest

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"sealbound/ingest/sidetable"
	"sealbound/ingest/trace"
)

// walk gathers the names of the files in a folder within dir and below.
func (p *proposer) walk(ctx context.Context, folder string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	entries, err := os.ReadDir(filepath.Join(p.dir, filepath.FromSlash(folder)))
	if err != nil {
		return plain(err)
	}
	inside := func(e os.DirEntry) string {
		if folder == "" {
			return e.Name()
		}
		return folder + "/" + e.Name()
	}
	for _, e := range entries {
		if e.IsDir() || !isListName(e.Name()) || p.longFormat(inside(e)) {
			continue
		}
		if folder != "" {
			p.say("%s: the folder has a runs.csv of its own, so its files are left out", p.path(folder))
			return nil
		}
		p.list = e.Name()
	}
	for _, e := range entries {
		name := inside(e)
		switch {
		case strings.HasPrefix(e.Name(), "."):
		case e.IsDir():
			if err := p.walk(ctx, name); err != nil {
				return err
			}
		case isListName(e.Name()), sidetable.Named(e.Name()) != "":
		case strings.ContainsAny(name, "\r\n"):
			p.say("%q: a name with a line end cannot be listed; rename the file", name)
		default:
			p.names = append(p.names, name)
		}
	}
	return nil
}

func (p *proposer) path(name string) string {
	return filepath.Join(p.dir, filepath.FromSlash(name))
}

// text is a file as it would be read, packed ones unpacked; nil for one that cannot
// be read, is no plain file, or is too large to be a trace.
func (p *proposer) text(name string) []byte {
	text, err := p.read(name)
	if err != nil {
		return nil
	}
	return text
}

// read is text with the reason where there is none.
func (p *proposer) read(name string) ([]byte, error) {
	path := p.path(name)
	if info, err := os.Stat(path); err != nil {
		return nil, plain(err)
	} else if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: is no plain file", path)
	}
	none := int64(0)
	source, err := openSource(context.Background(), path, nil, false, &none)
	if err != nil {
		return nil, err
	}
	defer source.close()
	src, err := source.acquire()
	if err != nil {
		return nil, err
	}
	defer source.release()
	if source.size > trace.MaxBytes {
		return nil, fmt.Errorf("%s: is larger than %d MB", path, trace.MaxBytes>>20)
	}
	text := make([]byte, source.size)
	if n, err := src.ReadAt(text, 0); n < len(text) && err != nil {
		return nil, fmt.Errorf("%s: %w", path, plain(err))
	}
	return text, nil
}

// longFormat tells whether a file holds readings in the long format.
func (p *proposer) longFormat(name string) bool {
	text := p.text(name)
	names := columnNames(bytes.NewReader(text), int64(len(text)))
	return namesFrequency(names) && (namesState(names) || isListName(name))
}
