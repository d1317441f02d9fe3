package mzml

import (
	"errors"
	"fmt"

	"github.com/klauspost/compress/zstd"

	"underbond/parsers/mzml/inflate"
)

// inflate decompresses a payload, at most most bytes.
func (d *arrayDecoder) inflate(packed []byte, most int) ([]byte, error) {
	raw, used, err := d.zlib.Zlib(d.raw[:0], packed, most)
	d.raw = raw
	switch {
	case errors.Is(err, inflate.ErrTooLong):
		return nil, errTooMany
	case errors.Is(err, inflate.ErrHeader):
		return nil, fmt.Errorf("the compressed data does not begin as such: %w", err)
	case err != nil:
		return nil, fmt.Errorf("the compressed data is damaged after %d bytes: %w", len(raw), err)
	}
	d.trailing = len(packed) - used
	return raw, nil
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
