package document

import "testing"

// A name of a file stays in its folder, whatever the suit is called.
func TestFileName(t *testing.T) {
	for name, want := range map[string]string{
		"logbook-HP-07": "logbook-HP-07", "logbook-HP/07": "logbook-HP-07", "logbook-../../x1": "logbook-..-..-x1",
		"logbook-Łódź_1.2": "logbook-Łódź_1.2", `a\b:c*d?"e<f>g|h`: "a-b-c-d--e-f-g-h", "a\x00b\nc d": "a-b-c-d",
	} {
		if got := fileName(name); got != want {
			t.Errorf("%q becomes %q, want %q", name, got, want)
		}
	}
}
