//go:build unix

package ingest

import (
	"os"
	"syscall"
)

func keyOf(info os.FileInfo) (fileKey, bool) {
	stat, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return fileKey{}, false
	}
	return fileKey{uint64(stat.Dev), uint64(stat.Ino)}, true
}
