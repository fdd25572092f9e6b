package study

import (
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"io"
	"os"

	"sealbound/cmd/internal/report"
)

// digests are the SHA-256 of all files that a result rests on.
type digests struct {
	files []report.File
	stdin hash.Hash // nil: standard input was not there to be read
}

// listen digests standard input while it is read.
func (d *digests) listen(stdin io.Reader) io.Reader {
	if stdin == nil {
		return nil
	}
	d.stdin = sha256.New()
	return io.TeeReader(stdin, d.stdin)
}

// take digests the files of the campaign, and those that the settings name.
func (d *digests) take(s Settings) error {
	for _, in := range inputRows(s.campaign.summary) {
		f := report.File{Input: in, Table: true}
		if in.Path != "-" {
			sum, err := digest(in.Path)
			if err != nil {
				return &InputError{Err: err}
			}
			f.SHA256 = sum
		} else if d.stdin != nil {
			f.SHA256 = hex.EncodeToString(d.stdin.Sum(nil))
		}
		d.files = append(d.files, f)
	}
	for _, path := range []string{s.TargetFile, s.BudgetFile} {
		if path == "" {
			continue
		}
		sum, err := digest(path)
		if err != nil {
			return &InputError{Err: err}
		}
		d.files = append(d.files, report.File{Input: report.Input{Path: path}, SHA256: sum})
	}
	return nil
}

// digest is the SHA-256 of a regular file, as of now; of a pipe or a device there
// is none, for it cannot be read twice.
func digest(path string) (string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	if !info.Mode().IsRegular() {
		return "", nil
	}
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
