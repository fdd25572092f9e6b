package cell

import "testing"

// A text that a spreadsheet would run or reckon is guarded, and comes back; all
// others stay as they are.
func TestGuard(t *testing.T) {
	for text, want := range map[string]string{
		"=1+1": "'=1+1", "+45": "'+45", "-45": "'-45", "@x": "'@x", "-": "'-", "＝x": "'＝x", "\t=": "'\t=",
		"": "", "box 1": "box 1", "'": "'", "'x": "'x", "a=b": "a=b", "007": "007",
	} {
		got := Guarded(text)
		if back := string(Unguarded([]byte(got))); got != want || back != text {
			t.Errorf("%q is guarded as %q, want %q, and comes back as %q", text, got, want, back)
		}
	}
	if got := string(Unguarded([]byte("'\xff"))); got != "'\xff" {
		t.Errorf("damaged bytes became %q", got)
	}
}
