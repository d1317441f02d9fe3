package signal

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// shape of an exponentially modified Gaussian peak: a Gaussian of area, mean and standard deviation,
// smeared by an exponential tail with a time constant.
type emgShape struct{ area, mean, sd, tail float64 }

// at gives the height at a time:
//
//	A/(2τ) · exp(-u²/2) · exp(z²) erfc(z),  u = (t-μ)/σ,  z = (σ/τ - u)/√2
//
// E. Grushka, Anal. Chem. 1972, 44, 1733, in a form that does not overflow.
func (e emgShape) at(t float64) float64 {
	u := (t - e.mean) / e.sd
	z := (e.sd/e.tail - u) / math.Sqrt2
	if z < 6 {
		return e.area / (2 * e.tail) * math.Exp(z*z-u*u/2) * math.Erfc(z)
	}
	// The asymptotic series of exp(z²) erfc(z), to 1e-6 from here on.
	r := 1 / (2 * z * z)
	return e.area / (2 * e.tail) * math.Exp(-u*u/2) * (1 - r*(1-3*r*(1-5*r))) / (z * math.Sqrt(math.Pi))
}

// Bounds of the fit of shapes.
const (
	shareSteps  = 60
	shareSettle = 1e-11 // relative change of the squares at which it has settled
	// shareMisfit is the largest root mean square misfit, as a part of the smallest
	// height, at which shapes still say how to divide, where noise does not explain it.
	shareMisfit = 0.05
	leastTail   = 0.02 // of the standard deviation: as good as a Gaussian
	mostPeaks   = 8    // of a group; larger groups stay with perpendiculars
)

// share divides the area of a group on one baseline between its peaks in proportion to
// exponentially modified Gaussian shapes fitted to all of it. It gives nil where no such shapes
// fit, and perpendiculars stay.
func (f *finder) share(group []stretch) []float64 {
	if len(group) < 2 || len(group) > mostPeaks {
		return nil
	}
	start, end, base := group[0].start, group[len(group)-1].end, group[0].base
	times, over := f.times[start:end+1], make([]float64, end-start+1)
	for i := range over {
		over[i] = f.level[start+i] - base.at(times[i])
	}
	// By a power of two, so that no digit depends on the unit of the signal.
	_, power := math.Frexp(slices.Max(over))
	unit := math.Ldexp(1, power)
	for i := range over {
		over[i] /= unit
	}
	shapes, least := make([]emgShape, len(group)), math.Inf(1)
	for i, s := range group {
		height := over[s.at-start]
		if !(height > 0) || s.shoulder {
			return nil
		}
		least = min(least, height)
		shapes[i] = startShape(s, height, f.times[s.at])
	}
	if len(times) < 4*len(shapes)+1 {
		return nil
	}
	fitted, squares := fitShapes(times, over, shapes)
	if misfit := math.Sqrt(squares / float64(len(times))); !(misfit <= max(2*f.sigma/unit, shareMisfit*least)) {
		return nil
	}
	for i, s := range group {
		if top := summit(times, fitted[i]) + start; top < s.start || top > s.end {
			return nil // a shape that is not this peak's
		}
	}
	areas := divide(times, over, fitted)
	for i := range areas {
		areas[i] *= unit
	}
	return areas
}

// summit gives the index of the time at which a shape is highest.
func summit(times []float64, s emgShape) int {
	best, at := math.Inf(-1), 0
	for i, t := range times {
		if v := s.at(t); v > best {
			best, at = v, i
		}
	}
	return at
}

// startShape guesses a shape from the widths either side of an apex.
func startShape(s stretch, height, apex float64) emgShape {
	const half = 1.1774100225 // of a Gaussian, at half height, in σ
	narrow := min(s.left, s.right)
	sd := narrow / half
	return emgShape{area: height * sd * math.Sqrt(2*math.Pi), mean: apex - sd/10, sd: sd, tail: sd / 4}
}

// divide gives each shape its part of the measured area, step by step.
func divide(times, over []float64, shapes []emgShape) []float64 {
	parts := func(i int) []float64 {
		out, sum := make([]float64, len(shapes)), 0.0
		for j, s := range shapes {
			out[j] = s.at(times[i])
			sum += out[j]
		}
		for j := range out {
			if sum > 0 {
				out[j] = out[j] / sum * over[i] // in this order: the sum may be next to nothing
			} else {
				out[j] = over[i] / float64(len(shapes)) // far from all of them
			}
		}
		return out
	}
	areas := make([]float64, len(shapes))
	last := parts(0)
	for i := 1; i < len(times); i++ {
		next := parts(i)
		for j := range areas {
			areas[j] += (last[j] + next[j]) / 2 * (times[i] - times[i-1])
		}
		last = next
	}
	return areas
}

// fitShapes improves shapes by damped least squares (D. W. Marquardt, J. Soc. Ind. Appl.
// Math. 1963, 11, 431), each step solved by QR, in the parameters area, mean, ln σ and ln τ/σ.
// It gives the best shapes found and their sum of squares.
func fitShapes(times, over []float64, shapes []emgShape) ([]emgShape, float64) {
	n, m := len(times), 4*len(shapes)
	best, squares := shapes, misfit(times, over, shapes)
	damping := 1e-3
	for range shareSteps {
		system, right := mat.NewDense(n+m, m, nil), mat.NewDense(n+m, 1, nil)
		for j := range best {
			derivatives(times, best[j], func(i, k int, d float64) { system.Set(i, 4*j+k, d) })
		}
		for i, t := range times {
			right.Set(i, 0, over[i]-sum(best, t))
		}
		for k := range m {
			var squares, gradient float64
			for i := range n {
				squares += square(system.At(i, k))
				gradient += system.At(i, k) * right.At(i, 0)
			}
			if k%4 == 3 && gradient < 0 && best[k/4].shortest() {
				// It would only run into its bound again, and hold up the others.
				for i := range n {
					system.Set(i, k, 0)
				}
				squares = 1
			}
			system.Set(n+k, k, math.Sqrt(damping*squares))
		}
		var qr mat.QR
		qr.Factorize(system)
		var step mat.Dense
		if err := qr.SolveTo(&step, false, right); err != nil {
			return best, squares
		}
		tried := make([]emgShape, len(best))
		for j, s := range best {
			tried[j] = s.moved(step.At(4*j, 0), step.At(4*j+1, 0), step.At(4*j+2, 0), step.At(4*j+3, 0))
		}
		now := misfit(times, over, tried)
		if !(now < squares) {
			if damping *= 8; damping > 1e8 {
				break
			}
			continue
		}
		settled := squares-now <= shareSettle*squares
		best, squares, damping = tried, now, max(damping/8, 1e-9)
		if settled {
			break
		}
	}
	return best, squares
}

// shortest tells whether the tail is at its bound.
func (e emgShape) shortest() bool { return e.tail <= e.sd*leastTail*(1+1e-9) }

// moved takes a step in the parameters of the fit, none of them too far.
func (e emgShape) moved(area, mean, lnSD, lnTail float64) emgShape {
	clamp := func(v float64) float64 { return max(-1, min(1, v)) }
	sd := e.sd * math.Exp(clamp(lnSD))
	return emgShape{
		area: max(e.area+area, e.area/4), mean: e.mean + clamp(mean/e.sd)*e.sd, sd: sd,
		tail: sd * max(leastTail, e.tail/e.sd*math.Exp(clamp(lnTail))),
	}
}

// derivatives gives those of a shape by its parameters, by differences.
func derivatives(times []float64, e emgShape, set func(point, parameter int, d float64)) {
	const h = 1e-5
	steps := [4][2]emgShape{
		{e, e},
		{{e.area, e.mean - h*e.sd, e.sd, e.tail}, {e.area, e.mean + h*e.sd, e.sd, e.tail}},
		{{e.area, e.mean, e.sd * (1 - h), e.tail * (1 - h)}, {e.area, e.mean, e.sd * (1 + h), e.tail * (1 + h)}},
		{{e.area, e.mean, e.sd, e.tail * (1 - h)}, {e.area, e.mean, e.sd, e.tail * (1 + h)}},
	}
	widths := [4]float64{1, 2 * h * e.sd, 2 * h, 2 * h}
	for i, t := range times {
		set(i, 0, e.at(t)/e.area)
		for k := 1; k < 4; k++ {
			set(i, k, (steps[k][1].at(t)-steps[k][0].at(t))/widths[k])
		}
	}
}

func sum(shapes []emgShape, t float64) (v float64) {
	for _, s := range shapes {
		v += s.at(t)
	}
	return v
}

func misfit(times, over []float64, shapes []emgShape) (squares float64) {
	for i, t := range times {
		squares += square(over[i] - sum(shapes, t))
	}
	return squares
}
