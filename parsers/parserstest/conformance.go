package parserstest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"testing"
	"testing/iotest"

	"underbond/parsers"
)

// Sample is good content for the conformance tests.
type Sample struct {
	Name string
	Data []byte
}

// Conformance checks that a reader keeps the contract of parsers.Reader on samples of
// its format.
func Conformance(t *testing.T, reader parsers.Reader, samples []Sample) {
	t.Helper()
	t.Run("empty input is refused", func(t *testing.T) {
		if _, err := read(t.Context(), reader, bytes.NewReader(nil)); !isRefusal(err) {
			t.Errorf("got %v, want a refusal", err)
		}
		if g := reader.Sniff(nil); g.Confidence != 0 || g.Format != reader.Format() || g.Reason == "" {
			t.Errorf("sniffing nothing gives %+v", g)
		}
	})
	for _, s := range samples {
		t.Run(s.Name, func(t *testing.T) {
			t.Run("is recognised", func(t *testing.T) { recognised(t, reader, s.Data) })
			t.Run("gives the same calls in any pieces", func(t *testing.T) { deterministic(t, reader, s.Data) })
			t.Run("cut anywhere fails or is a refusal", func(t *testing.T) { cut(t, reader, s.Data) })
			t.Run("errors of the sink are returned", func(t *testing.T) { sinkErrors(t, reader, s.Data) })
			t.Run("errors of the source are returned", func(t *testing.T) { sourceErrors(t, reader, s.Data) })
			t.Run("stops with its context", func(t *testing.T) { cancelled(t, reader, s.Data) })
			t.Run("acquisitions are in order", func(t *testing.T) { ordered(t, reader, s.Data) })
			t.Run("respects the limit of bytes", func(t *testing.T) { limited(t, reader, s.Data) })
		})
	}
}

func isRefusal(err error) bool {
	var r *parsers.Refusal
	return errors.As(err, &r) && r.Code != "" && r.Message != "" && r.Grade == parsers.Refused
}

func recognised(t *testing.T, reader parsers.Reader, data []byte) {
	g := reader.Sniff(data[:min(len(data), parsers.SniffLength)])
	if g.Confidence <= 0 || g.Confidence > 100 || g.Format != reader.Format() || g.Reason == "" {
		t.Errorf("sniffing gives %+v", g)
	}
	if proof, why, err := reader.EndProof(bytes.NewReader(data), int64(len(data))); err != nil || proof == parsers.EndProofFailed {
		t.Errorf("end proof %q (%s), %v", proof, why, err)
	}
}

func deterministic(t *testing.T, reader parsers.Reader, data []byte) {
	want, err := read(t.Context(), reader, bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	for name, src := range map[string]io.Reader{
		"again":              bytes.NewReader(data),
		"in halves":          iotest.HalfReader(bytes.NewReader(data)),
		"error with data":    iotest.DataErrReader(bytes.NewReader(data)),
		"one byte at a time": iotest.OneByteReader(bytes.NewReader(data)),
	} {
		got, err := read(t.Context(), reader, src)
		if err != nil || got != want {
			t.Errorf("%s: other calls or error %v", name, err)
		}
	}
}

func cut(t *testing.T, reader parsers.Reader, data []byte) {
	for _, at := range cuts(len(data)) {
		part := data[:at]
		_, err := read(t.Context(), reader, bytes.NewReader(part))
		if err != nil && !isRefusal(err) {
			t.Errorf("cut at byte %d: %v is no refusal", at, err)
		}
		proof, why, proofErr := reader.EndProof(bytes.NewReader(part), int64(at))
		switch {
		case proofErr != nil:
			t.Errorf("cut at byte %d: end proof: %v", at, proofErr)
		case proof == parsers.EndProofFailed && (err == nil || why == ""):
			t.Errorf("cut at byte %d: end proof failed (%q) and reading gave %v", at, why, err)
		}
		reader.Sniff(part[:min(at, parsers.SniffLength)])
	}
}

// cuts are places all over the content, close together at its end.
func cuts(size int) []int {
	var places []int
	for at := 0; at < size; at += max(1, size/97) {
		places = append(places, at)
	}
	for at := max(0, size-40); at < size; at++ {
		places = append(places, at)
	}
	return places
}

func sinkErrors(t *testing.T, reader parsers.Reader, data []byte) {
	boom := errors.New("the sink is full")
	for _, call := range []string{"begin", "signal", "end"} {
		sink := &recorder{fail: call, err: boom}
		_, err := reader.Read(t.Context(), bytes.NewReader(data), parsers.Options{}, sink)
		if !errors.Is(err, boom) || isRefusal(err) {
			t.Errorf("%s fails: got %v", call, err)
		}
		if sink.after > 0 {
			t.Errorf("%s fails: %d calls follow", call, sink.after)
		}
	}
}

func sourceErrors(t *testing.T, reader parsers.Reader, data []byte) {
	boom := errors.New("the disk is gone")
	for _, at := range []int{0, 1, len(data) / 2, len(data) - 1} {
		src := io.MultiReader(bytes.NewReader(data[:at]), iotest.ErrReader(boom))
		if _, err := read(t.Context(), reader, src); !errors.Is(err, boom) || isRefusal(err) {
			t.Errorf("after %d bytes: got %v", at, err)
		}
	}
}

func cancelled(t *testing.T, reader parsers.Reader, data []byte) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := read(ctx, reader, bytes.NewReader(data)); !errors.Is(err, context.Canceled) || isRefusal(err) {
		t.Errorf("before the start: got %v", err)
	}
	// Half of the content has been read when nobody wants it any more.
	ctx, cancel = context.WithCancel(t.Context())
	defer cancel()
	src := io.MultiReader(bytes.NewReader(data[:len(data)/2]), &canceller{cancel, bytes.NewReader(data[len(data)/2:])})
	if _, err := read(ctx, reader, src); err != nil && (!errors.Is(err, context.Canceled) || isRefusal(err)) {
		t.Errorf("in the middle: got %v", err)
	}
}

// canceller ends a context before it gives its bytes.
type canceller struct {
	cancel context.CancelFunc
	src    io.Reader
}

// Read implements io.Reader.
func (c *canceller) Read(p []byte) (int, error) {
	c.cancel()
	return c.src.Read(p)
}

func ordered(t *testing.T, reader parsers.Reader, data []byte) {
	sink := &recorder{}
	if _, err := reader.Read(t.Context(), bytes.NewReader(data), parsers.Options{}, sink); err != nil {
		t.Fatal(err)
	}
	if sink.begun == 0 {
		t.Error("no acquisition")
	}
	for _, fault := range sink.faults {
		t.Error(fault)
	}
}

func limited(t *testing.T, reader parsers.Reader, data []byte) {
	opt := parsers.Options{Limits: parsers.Limits{TotalBytes: int64(len(data) / 2)}}
	if _, err := reader.Read(t.Context(), bytes.NewReader(data), opt, &recorder{}); !isRefusal(err) {
		t.Errorf("got %v, want a refusal", err)
	}
}

// read gives all calls of a reader as text.
func read(ctx context.Context, reader parsers.Reader, src io.Reader) (string, error) {
	sink := &recorder{}
	problems, err := reader.Read(ctx, src, parsers.Options{}, sink)
	return calls(sink, problems), err
}

func calls(sink *recorder, problems []parsers.Problem) string {
	return sink.calls.String() + fmt.Sprintf("%+v", problems)
}
