package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// explainPaths adds to an error of reading what would mend it, where that is
// plain: a path that leads to nothing, or that may not be read.
func explainPaths(err error, paths []string) error {
	switch {
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%w; ask for the permission to read it, or copy it to where you have it", err)
	case !errors.Is(err, fs.ErrNotExist):
		return err
	}
	for _, p := range paths {
		if _, failed := os.Stat(p); p == "-" || !errors.Is(failed, fs.ErrNotExist) {
			continue
		}
		if strings.HasPrefix(p, "-") {
			return usage("%s: there is no such file or folder; flags stand before --", p)
		}
		return fmt.Errorf("%s: there is no such file or folder%s", p, meant(p))
	}
	return err
}

// meant names what stands where the path leads to that is called much like it, or
// the folder that is missing.
func meant(path string) string {
	dir, base := filepath.Split(filepath.Clean(path))
	entries, err := os.ReadDir(filepath.Clean(dir))
	if err != nil {
		return fmt.Sprintf("; the folder %s is not there either", filepath.Clean(dir))
	}
	var names []string
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") {
			names = append(names, e.Name())
		}
	}
	if near, ok := nearest(base, names); ok {
		return "; did you mean " + dir + near + "?"
	}
	return "; check the name and the folder"
}
