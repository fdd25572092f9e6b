package ingest

import (
	"encoding/binary"
	"strings"
	"testing"
	"unicode/utf16"
)

// Readings that were saved as UTF-16 are told of as such, and not taken for a trace that
// a runs.csv should list.
func TestReadingsInUTF16(t *testing.T) {
	text := []byte{0xff, 0xfe}
	for _, u := range utf16.Encode([]rune(ok)) {
		text = binary.LittleEndian.AppendUint16(text, u)
	}
	dir := folder(t, map[string]string{"a.csv": string(text)})
	got := problemsOf(read(t, DefaultOptions(), dir), dir)
	if strings.Contains(got, "runs.csv") || !strings.Contains(got, "a.csv:1:1: the file is UTF-16; save it as CSV in UTF-8") {
		t.Error(got)
	}
}
