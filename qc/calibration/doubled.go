package calibration

import "math"

// epsilon is the distance from 1 to the next larger double.
const epsilon = 0x1p-52

// doubled is a sum kept in about twice the precision of a double: Ogita, Rump & Oishi,
// SIAM J. Sci. Comput. 26 (2005) 1955.
type doubled struct{ high, low float64 }

func (d *doubled) add(v float64) {
	sum := d.high + v
	part := sum - d.high
	d.low += (d.high - (sum - part)) + (v - part)
	d.high = sum
}

func (d *doubled) addProduct(a, b float64) {
	product := a * b
	d.low += math.FMA(a, b, -product)
	d.add(product)
}

func (d *doubled) value() float64 { return d.high + d.low }

// dot is the scalar product, in doubled precision.
func dot(a, b []float64) float64 {
	var sum doubled
	for i := range a {
		sum.addProduct(a[i], b[i])
	}
	return sum.value()
}
