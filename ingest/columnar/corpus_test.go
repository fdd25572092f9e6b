package columnar

import (
	"bytes"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
)

var update = flag.Bool("update", false, "write the corpus of FuzzOpen anew")

// TestCorpus keeps the corpus of FuzzOpen: files of both kinds, whole and damaged
// behind a right checksum. It must be what is written today.
func TestCorpus(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	for _, f := range formats {
		whole := small(t, f)
		empty := f.write(t, someFields, nil, nil)
		files := map[string][]byte{"whole": whole, "empty": empty, "cut": whole[:len(whole)/2]}
		for i := range 6 {
			damaged := bytes.Clone(whole)
			damaged[r.IntN(len(damaged))] ^= 1 << r.IntN(8)
			files[fmt.Sprint("damaged", i)] = damaged
		}
		for name, data := range files {
			path := filepath.Join("testdata", "fuzz", "FuzzOpen", f.name+"-"+name)
			text := fmt.Sprintf("go test fuzz v1\n[]byte(%q)\nbool(%v)\n", data, f.name == "parquet")
			if *update {
				if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
					t.Fatal(err)
				}
			} else if got, err := os.ReadFile(path); err != nil || string(got) != text {
				t.Errorf("%s is not what is written today; write it anew with -update (%v)", path, err)
			}
		}
	}
}
