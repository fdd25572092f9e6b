package record

import (
	"bytes"
	"io"
)

// sniffed is how many bytes of a file are looked at for its encoding.
const sniffed = 4096

// Start looks at the first bytes of src for what cannot be read as UTF-8 CSV at
// all. It returns the offset of the text, which is behind a byte order mark
// where there is one, or a Fault that names what the file is.
func Start(src io.ReaderAt, size int64) (int64, *Fault, error) {
	head := make([]byte, min(size, sniffed))
	if n, err := src.ReadAt(head, 0); n < len(head) {
		if err == nil || err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		return 0, nil, err
	}
	refuse := func(what, mend string) (int64, *Fault, error) {
		return 0, &Fault{Line: 1, Column: 1, What: what, Mend: mend}, nil
	}
	const save = "save it as CSV in UTF-8"
	switch {
	case bytes.HasPrefix(head, []byte{0xff, 0xfe, 0, 0}), bytes.HasPrefix(head, []byte{0, 0, 0xfe, 0xff}):
		return refuse("the file is UTF-32", save)
	case bytes.HasPrefix(head, []byte{0xff, 0xfe}), bytes.HasPrefix(head, []byte{0xfe, 0xff}):
		return refuse("the file is UTF-16", save)
	case bytes.HasPrefix(head, []byte("PK\x03\x04")):
		return refuse("the file is a spreadsheet or a zip archive", save)
	case bytes.HasPrefix(head, []byte{0xd0, 0xcf, 0x11, 0xe0}):
		return refuse("the file is an old spreadsheet", save)
	case bytes.HasPrefix(head, []byte("PAR1")):
		return refuse("the file is Parquet, and its name does not say so", "end its name in .parquet")
	case halfZero(head):
		return refuse("the file is UTF-16 without a mark", save)
	}
	start := 0
	if bytes.HasPrefix(head, []byte("\xef\xbb\xbf")) {
		start = 3
	}
	if i := bytes.IndexByte(head, '\r'); i >= 0 && bytes.IndexByte(head, '\n') < 0 && i+1 < len(head) {
		return 0, &Fault{Line: 1, Column: i + 1 - start, What: "lines end in a carriage return alone",
			Mend: "save the file with LF or CRLF line ends"}, nil
	}
	return int64(start), nil, nil
}

// halfZero reports text whose every second byte is zero.
func halfZero(b []byte) bool {
	if len(b) < 4 {
		return false
	}
	var zeros [2]int
	for i, c := range b {
		if c == 0 {
			zeros[i%2]++
		}
	}
	half := len(b) / 2
	return zeros[0]*4 > half*3 && zeros[1] == 0 || zeros[1]*4 > half*3 && zeros[0] == 0
}
