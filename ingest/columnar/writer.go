package columnar

import "fmt"

// A Writer appends chunks to a table and ends it. After an error it is of no use.
type Writer interface {
	// Write appends a chunk, whose columns are those of the fields and none
	// constant. What is written depends on the chunk's bounds.
	Write(c *Chunk) error
	// Close ends the table; the underlying writer stays open.
	Close() error
}

// ChunkRows is how many rows a chunk should have at most.
const ChunkRows = 1 << 16

// MaxRows is how many rows of a chunk are read.
const MaxRows = 1 << 22

// guardWriting turns what a library throws into an error.
func guardWriting(err *error) {
	if r := recover(); r != nil {
		*err = fmt.Errorf("the table cannot be written: %v", r)
	}
}
