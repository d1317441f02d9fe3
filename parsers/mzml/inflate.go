package mzml

import (
	"errors"
	"fmt"
	"io"

	"github.com/klauspost/compress/zlib"
	"github.com/klauspost/compress/zstd"
)

// inflateChunk is how much is decompressed before it is turned into values.
const inflateChunk = 32 << 10

// inflateValues decompresses the payload of plain numbers and converts it on the way,
// at most most bytes.
func (d *arrayDecoder) inflateValues(a *array, most int) error {
	c := &a.coding
	from, err := d.open(a.packed)
	if err != nil {
		return err
	}
	if cap(d.raw) < inflateChunk {
		d.raw = make([]byte, inflateChunk)
	}
	if hint := min(most, 2*len(a.packed)) / c.width; cap(a.values) < hint {
		a.values = make([]float64, 0, hint)
	}
	buf := d.raw[:inflateChunk]
	kept, total := 0, 0 // bytes of a value begun, bytes so far
	for {
		n, err := from.Read(buf[kept:])
		if total += n; total > most {
			return errTooMany
		}
		n += kept
		whole := n - n%c.width
		if need := len(a.values) + whole/c.width; need > cap(a.values) {
			a.values = append(make([]float64, 0, min(2*need, most/c.width)), a.values...)
		}
		a.values = d.convert(a.values, buf[:whole], c)
		kept = copy(buf, buf[whole:n])
		if err == io.EOF {
			break
		}
		if err != nil {
			return fmt.Errorf("the compressed data is damaged or cut after %d bytes: %w", total, err)
		}
	}
	d.trailing = d.input.Len()
	if kept > 0 {
		return errPartOfValue(total, c.width)
	}
	return nil
}

// inflate decompresses a payload, at most most bytes.
func (d *arrayDecoder) inflate(packed []byte, most int) ([]byte, error) {
	from, err := d.open(packed)
	if err != nil {
		return nil, err
	}
	raw := d.raw[:0]
	for {
		if len(raw) == cap(raw) {
			grown := make([]byte, len(raw), min(most+1, max(2*cap(raw), 4*len(packed), 4096)))
			copy(grown, raw)
			raw = grown
		}
		n, err := from.Read(raw[len(raw):min(cap(raw), most+1)])
		raw = raw[:len(raw)+n]
		d.raw = raw
		if len(raw) > most {
			return nil, errTooMany
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("the compressed data is damaged or cut after %d bytes: %w", len(raw), err)
		}
	}
	d.trailing = d.input.Len()
	return raw, nil
}

// open resets the zlib decompressor to the payload.
func (d *arrayDecoder) open(packed []byte) (io.Reader, error) {
	d.input.Reset(packed)
	var err error
	if d.inflater == nil {
		d.inflater, err = zlib.NewReader(&d.input)
	} else {
		err = d.inflater.(zlib.Resetter).Reset(&d.input, nil)
	}
	if err != nil {
		return nil, fmt.Errorf("the compressed data does not begin as such: %w", err)
	}
	return d.inflater, nil
}

// expand decompresses Zstandard frames, at most most bytes. The decoder fills the memory
// that it is given and takes none by what a frame declares.
func (d *arrayDecoder) expand(packed []byte, most int) (raw []byte, err error) {
	if d.zstd == nil {
		d.zstd, err = zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true),
			zstd.WithDecoderMaxWindow(1<<30), zstd.WithDecodeAllCapLimit(true))
		if err != nil {
			return nil, fmt.Errorf("begin to decompress: %w", err)
		}
	}
	for room := min(most, 64*len(packed)+4096); ; room = most {
		if cap(d.raw) < room {
			d.raw = make([]byte, 0, room)
		}
		raw, err = d.zstd.DecodeAll(packed, d.raw[:0:room])
		switch {
		case err == nil:
			return raw, nil
		case !errors.Is(err, zstd.ErrDecoderSizeExceeded):
			return nil, fmt.Errorf("the compressed data is damaged or cut: %w", err)
		case room == most:
			return nil, errTooMany
		}
	}
}
