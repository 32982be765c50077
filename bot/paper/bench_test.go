package paper

import "testing"

// TestSize: a record is small enough to be sent to a phone.
func TestSize(t *testing.T) {
	const most = 200_000
	for _, s := range []*scene{passes(t), fails(t)} {
		in := s.input()
		in.Chart = s.chart()
		if n := len(mustRecord(t, in)); n > most {
			t.Errorf("the record has %d bytes, and should have %d at most", n, most)
		}
	}
}

func BenchmarkRecord(b *testing.B) {
	s := passes(b)
	in := s.input()
	in.Chart = s.chart()
	var size int
	for b.Loop() {
		size = len(mustRecord(b, in))
	}
	b.ReportMetric(float64(size), "B/record")
}

func BenchmarkLogbook(b *testing.B) {
	in := years(b)
	for b.Loop() {
		mustLogbook(b, in)
	}
}

func BenchmarkShelfList(b *testing.B) {
	in := shelfOf24(b)
	for b.Loop() {
		if _, err := ShelfList(in); err != nil {
			b.Fatal(err)
		}
	}
}
