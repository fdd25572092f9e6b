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

// find is the path of a file that is known; empty where it is none of them.
func (s *sameFiles) find(info os.FileInfo) string {
	if key, ok := keyOf(info); ok {
		return s.byKey[key]
	}
	for _, other := range s.bySize[info.Size()] {
		if os.SameFile(other.info, info) {
			return other.path
		}
	}
	return ""
}

// add takes in a file; known is the path of one that it is, empty where it is new.
func (s *sameFiles) add(info os.FileInfo, path string) (known string) {
	if known := s.find(info); known != "" {
		return known
	}
	if key, ok := keyOf(info); ok {
		if s.byKey == nil {
			s.byKey = map[fileKey]string{}
		}
		s.byKey[key] = path
		return ""
	}
	if s.bySize == nil {
		s.bySize = map[int64][]namedFile{}
	}
	s.bySize[info.Size()] = append(s.bySize[info.Size()], namedFile{info, path})
	return ""
}
