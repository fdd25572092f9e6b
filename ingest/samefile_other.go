//go:build !unix

package ingest

import "os"

func keyOf(os.FileInfo) (fileKey, bool) { return fileKey{}, false }
