package columnar

import (
	"bytes"
	"fmt"
	"hash/crc32"
	"io"
	"slices"
)

// The checksum is CRC-32C (Castagnoli) of the file with zeros in place of the
// checksum's own digits. It notices every change of up to 32 bits in a row, so
// any single byte, and all but one in four thousand million other damages.
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

const (
	sumMark   = "sealbound crc32c:"
	sumDigits = 8
	sumTries  = 8 // places that are tried where the mark stands more than once
)

// noSum is the checksum's entry while the file is written.
const noSum = sumMark + "00000000"

// findSums finds in b, which holds the metadata, where the digits of the checksum
// may stand. A text of the metadata may hold the mark too: the entry itself is the
// last in a Parquet file and the first in a stream, where texts stand backwards, so
// it comes first in the answer.
func findSums(b []byte, last bool) (digits []int) {
	for at := 0; ; {
		i := bytes.Index(b[at:], []byte(sumMark))
		if i < 0 {
			break
		}
		if at += i + len(sumMark); at+sumDigits <= len(b) {
			digits = append(digits, at)
		}
	}
	if last {
		slices.Reverse(digits)
	}
	return digits[:min(len(digits), sumTries)]
}

// stamp puts the checksum of the whole file into metadata written with noSum.
func stamp(metadata []byte, last bool, crc uint32) {
	for _, d := range findSums(metadata, last) {
		if string(metadata[d:d+sumDigits]) == noSum[len(sumMark):] {
			copy(metadata[d:], sumOf(crc))
			return
		}
	}
	panic("columnar: the metadata lack the checksum's place")
}

// verifyAny compares the file with the checksum that one of the places holds.
func verifyAny(src io.ReaderAt, size, offset int64, digits []int) (err error) {
	for _, d := range digits {
		if err = verify(src, size, offset+int64(d)); err == nil {
			return nil
		}
	}
	return err
}

// sumOf is the checksum's digits for a file of which crc is the CRC with zeros.
func sumOf(crc uint32) string { return fmt.Sprintf("%08x", crc) }

// verify compares the file with its checksum, whose digits stand at the offset.
func verify(src io.ReaderAt, size, digits int64) error {
	stated := make([]byte, sumDigits)
	if _, err := src.ReadAt(stated, digits); err != nil && err != io.EOF {
		return err
	}
	crc := uint32(0)
	buf := make([]byte, min(size, 1<<18))
	for at := int64(0); at < size; {
		n := int(min(int64(len(buf)), size-at))
		if k, err := src.ReadAt(buf[:n], at); k < n {
			if err == nil || err == io.EOF {
				err = io.ErrUnexpectedEOF
			}
			return err
		}
		for i := range sumDigits { // zeros in place of the digits
			if p := digits + int64(i) - at; p >= 0 && p < int64(n) {
				buf[p] = '0'
			}
		}
		crc = crc32.Update(crc, castagnoli, buf[:n])
		at += int64(n)
	}
	if sumOf(crc) != string(stated) {
		return damaged("its checksum is %s and should be %.8q", sumOf(crc), stated)
	}
	return nil
}
