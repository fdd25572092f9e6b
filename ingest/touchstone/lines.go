package touchstone

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"strings"

	"sealbound/ingest/reading"
)

// A lines yields the lines of a file without their ends.
type lines struct {
	src    *bufio.Reader
	most   int64 // bytes of the file
	read   int64
	number int    // of the line, 1-based; 0 before the first
	text   string // dead after the next call
	fault  *reading.Problem
	err    error
	long   []byte
}

func newLines(r io.Reader) *lines {
	return &lines{src: bufio.NewReaderSize(r, 1<<16), most: MaxBytes}
}

// next advances to the next line. It returns false at the end, on a failure of
// the source, and where the file is no text; fault or err then tells.
func (l *lines) next() bool {
	line, err := l.src.ReadSlice('\n')
	l.long = l.long[:0]
	for errors.Is(err, bufio.ErrBufferFull) && len(l.long) <= MaxLine {
		l.long = append(l.long, line...)
		line, err = l.src.ReadSlice('\n')
	}
	if len(l.long) > 0 {
		l.long = append(l.long, line...)
		line = l.long
	}
	if err != nil && err != io.EOF && !errors.Is(err, bufio.ErrBufferFull) {
		l.err = err
		return false
	}
	if len(line) == 0 {
		return false
	}
	l.read += int64(len(line))
	l.number++
	line = bytes.TrimSuffix(line, []byte("\n"))
	ended := err == nil
	if ended {
		line = bytes.TrimSuffix(line, []byte("\r"))
	}
	if l.number == 1 {
		line = bytes.TrimPrefix(line, []byte("\xef\xbb\xbf"))
	}
	switch {
	case len(line) > MaxLine:
		return l.stop(1, "the line is longer than a megabyte", "check the line ends of the file")
	case l.read > l.most:
		return l.stop(1, "the file is larger than 256 MB", "split it by frequency")
	}
	if i := bytes.IndexByte(line, 0); i >= 0 {
		if l.number == 1 && (bytes.HasPrefix(line, []byte{0xff, 0xfe}) || bytes.HasPrefix(line, []byte{0xfe, 0xff}) || i <= 1) {
			return l.stop(1, "a NUL byte: the file is UTF-16 text", "save it as plain text (ASCII or UTF-8)")
		}
		return l.stop(i+1, "a NUL byte: the file is not plain text", "save the network as a Touchstone text file")
	}
	if i := bytes.IndexByte(line, '\r'); i >= 0 {
		return l.stop(i+1, "a carriage return stands without a line feed", "save the file with LF or CRLF line ends")
	}
	l.text = string(line)
	return true
}

func (l *lines) stop(column int, what, mend string) bool {
	l.fault = &reading.Problem{Line: l.number, Column: column, What: what, Mend: mend}
	return false
}

// A token is a word of a line; column counts bytes from 1.
type token struct {
	text   string
	column int
}

// mostWords bounds the words of a line: four ports need 33 at most.
const mostWords = 1000

// split appends the words of a line, which blanks and tabs separate, to tokens. It
// gives up behind mostWords.
func split(line string, tokens []token) []token {
	for i := 0; i < len(line) && len(tokens) <= mostWords; {
		if line[i] == ' ' || line[i] == '\t' || line[i] == '\v' || line[i] == '\f' {
			i++
			continue
		}
		n := strings.IndexAny(line[i:], " \t\v\f")
		if n < 0 {
			n = len(line) - i
		}
		tokens = append(tokens, token{line[i : i+n], i + 1})
		i += n
	}
	return tokens
}
