package inspect

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"
)

// Value is a number that may be missing: NaN and infinities are null in JSON.
type Value float64

// Missing is a value that is not there.
func Missing() Value { return Value(math.NaN()) }

// Known tells whether there is a finite number.
func (v Value) Known() bool { return !math.IsNaN(float64(v)) && !math.IsInf(float64(v), 0) }

// MarshalJSON implements json.Marshaler.
func (v Value) MarshalJSON() ([]byte, error) { return v.append(nil), nil }

func (v Value) append(b []byte) []byte {
	if !v.Known() {
		return append(b, "null"...)
	}
	return strconv.AppendFloat(b, float64(v), 'g', -1, 64)
}

// Text is a text that may be missing: the empty text is null in JSON.
type Text string

// MarshalJSON implements json.Marshaler.
func (t Text) MarshalJSON() ([]byte, error) {
	if t == "" {
		return []byte("null"), nil
	}
	var b bytes.Buffer
	encoder := json.NewEncoder(&b)
	encoder.SetEscapeHTML(false) // left to the encoder of the whole
	err := encoder.Encode(string(t))
	return bytes.TrimSpace(b.Bytes()), err
}

// Count is a whole number from 1 that may be missing: 0 is null in JSON.
type Count int

// MarshalJSON implements json.Marshaler.
func (c Count) MarshalJSON() ([]byte, error) {
	if c == 0 {
		return []byte("null"), nil
	}
	return strconv.AppendInt(nil, int64(c), 10), nil
}

// Pair is one point as [x, y]. Without a point it is null in JSON.
type Pair struct {
	X, Y  Value
	Given bool
}

// MarshalJSON implements json.Marshaler.
func (p Pair) MarshalJSON() ([]byte, error) {
	if !p.Given {
		return []byte("null"), nil
	}
	return p.append(nil), nil
}

func (p Pair) append(b []byte) []byte {
	b = p.X.append(append(b, '['))
	b = p.Y.append(append(b, ','))
	return append(b, ']')
}

// Points are all points of a signal as [[x, y], …].
type Points struct{ X, Y []float64 }

// MarshalJSON implements json.Marshaler.
func (p *Points) MarshalJSON() ([]byte, error) {
	b := []byte{'['}
	for i := range p.X {
		if i > 0 {
			b = append(b, ',')
		}
		b = Pair{X: Value(p.X[i]), Y: Value(p.Y[i])}.append(b)
	}
	return append(b, ']'), nil
}

// Cell is a table cell: a number where there is one, else the text as written, null
// when nothing is written.
type Cell struct {
	Number *float64
	Text   string
}

// MarshalJSON implements json.Marshaler.
func (c Cell) MarshalJSON() ([]byte, error) {
	if c.Number != nil {
		return Value(*c.Number).MarshalJSON()
	}
	return Text(c.Text).MarshalJSON()
}
