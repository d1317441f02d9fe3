package scenario

import "math"

// The run of the liquid chromatograph.
const (
	runMinutes  = 24.0
	pointsAMin  = 150  // 2.5 points a second
	peakWidth   = 0.07 // standard deviation of a peak, minutes
	peakTailing = 0.02 // time constant of its tail, minutes
)

// unnamed are peaks that wood gives and the method does not name; their height goes with
// that of syringaldehyde.
var unnamed = []struct{ retention, share float64 }{{7.1, 0.35}, {13.5, 0.12}, {21.9, 0.2}}

// chromatogram gives the absorption at 280 nm in thousandths of an absorbance unit over
// minutes: the solvent front, the peaks, a drifting baseline and noise.
func chromatogram(e *entry, n noise) (minutes, signal []float64) {
	type peak struct{ at, area float64 }
	area := func(height float64) float64 { return height * peakWidth * math.Sqrt(2*math.Pi) }
	volume := n.scatter(0.008)
	shift := n.normal(0.012)
	front := peak{1.35, area(6)}
	peaks := []peak{front, {orthoVanillin.retention + shift, area(orthoVanillin.response) * volume * n.scatter(0.003)}}
	var wood float64
	for _, m := range phenolics {
		height := m.response * e.solution.amounts[m.name] / m.top * e.factor(m.name)
		if m.name == "syringaldehyde" {
			wood = height
		}
		peaks = append(peaks, peak{m.retention + shift + n.normal(0.004), area(height) * volume * n.scatter(0.005)})
	}
	if e.sample != "" {
		for _, u := range unnamed {
			peaks = append(peaks, peak{u.retention + shift, area(wood * u.share)})
		}
	}
	// The wave of the pump stays far below what counts as a peak.
	drift, wave := n.normal(0.4), n.r.Float64()*2*math.Pi
	points := int(runMinutes*pointsAMin) + 1
	minutes, signal = make([]float64, points), make([]float64, points)
	for i := range points {
		t := float64(i) / pointsAMin
		y := 0.6 + drift*t/runMinutes + 0.04*math.Sin(2*math.Pi*t/runMinutes+wave) + n.normal(0.012)
		for _, k := range peaks {
			y += k.area * tailed(t-k.at, peakWidth, peakTailing)
		}
		minutes[i], signal[i] = t, y
	}
	return minutes, signal
}

// tailed is the exponentially modified Gaussian of unit area, t from the centre of the
// Gaussian, with standard deviation s and time constant tau.
func tailed(t, s, tau float64) float64 {
	if t < -8*s || t > 8*s+30*tau {
		return 0
	}
	return math.Exp(s*s/(2*tau*tau)-t/tau) * math.Erfc((s/tau-t/s)/math.Sqrt2) / (2 * tau)
}
