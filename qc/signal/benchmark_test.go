package signal

import "testing"

// BenchmarkFind integrates a chromatogram of 10,000 points with 20 peaks, the last ten in
// five overlapping pairs.
func BenchmarkFind(b *testing.B) {
	var shapes []shape
	for i := range 10 {
		shapes = append(shapes, gaussian(5+float64(i), 1+2*float64(i), 0.08))
		pair := 22 + 4*float64(i/2) + 0.4*float64(i%2)
		shapes = append(shapes, emg(2+float64(i), pair, 0.08, 0.04))
	}
	times, values := sample(10000, 42, 0.01, shapes...)
	for name, baseline := range map[string]Baseline{"shapes": Shapes, "drop": Drop} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				r := find(b, times, values, Settings{Threshold: 10, MinWidth: 0.02, Smoothing: 9, Baseline: baseline})
				if len(r.Peaks) != 20 {
					b.Fatalf("%d peaks", len(r.Peaks))
				}
			}
		})
	}
}
