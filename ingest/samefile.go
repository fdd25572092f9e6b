package ingest

import "os"

// A fileKey identifies a file whatever its name, where the system can tell.
type fileKey struct{ device, number uint64 }

// sameFiles knows files by their paths and finds one that has another name too.
type sameFiles struct {
	byKey  map[fileKey]string
	bySize map[int64][]namedFile // where the system gives no key
}

type namedFile struct {
	info os.FileInfo
	path string
}

// add takes in a file; known is the path of one that it is, empty where it is new.
func (s *sameFiles) add(info os.FileInfo, path string) (known string) {
	if key, ok := keyOf(info); ok {
		if known, ok := s.byKey[key]; ok {
			return known
		}
		if s.byKey == nil {
			s.byKey = map[fileKey]string{}
		}
		s.byKey[key] = path
		return ""
	}
	size := info.Size()
	for _, other := range s.bySize[size] {
		if os.SameFile(other.info, info) {
			return other.path
		}
	}
	if s.bySize == nil {
		s.bySize = map[int64][]namedFile{}
	}
	s.bySize[size] = append(s.bySize[size], namedFile{info, path})
	return ""
}
