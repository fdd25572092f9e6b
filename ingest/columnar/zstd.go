package columnar

import "encoding/binary"

// soundFrame makes sure that b is one frame of Zstandard (RFC 8878, 3.1.1) that says
// itself what it unpacks to. Less than 256 bytes need not be said, if they are one
// block, which cannot unpack to more than 128 KiB.
func soundFrame(b []byte, unpacked int) bool {
	if len(b) < 9 || binary.LittleEndian.Uint32(b) != 0xfd2fb528 {
		return false
	}
	d := b[4]
	single, checksum := d&0x20 != 0, d&4 != 0
	p := 5
	if !single {
		p++ // the size of the window
	}
	if d&3 != 0 || d&0x18 != 0 {
		return false // a dictionary from elsewhere, a bit without a meaning
	}
	size, short := uint64(unpacked), false
	switch rest := b[p:]; d >> 6 {
	case 0:
		if short = !single; !short {
			size, p = uint64(rest[0]), p+1
		}
	case 1:
		size, p = uint64(binary.LittleEndian.Uint16(rest))+256, p+2
	case 2:
		if len(rest) < 4 {
			return false
		}
		size, p = uint64(binary.LittleEndian.Uint32(rest)), p+4
	case 3:
		if len(rest) < 8 {
			return false
		}
		size, p = binary.LittleEndian.Uint64(rest), p+8
	}
	if size != uint64(unpacked) || short && unpacked >= 256 {
		return false
	}
	end := len(b)
	if checksum {
		end -= 4
	}
	for { // the blocks must fill the page, or another frame would follow
		if p+3 > end {
			return false
		}
		block := int(b[p]) | int(b[p+1])<<8 | int(b[p+2])<<16
		p += 3
		switch block >> 1 & 3 {
		case 0, 2: // as it is, packed
			p += block >> 3
		case 1: // one byte repeated
			p++
		default:
			return false
		}
		if last := block&1 != 0; last || short {
			return last && p == end
		}
	}
}
