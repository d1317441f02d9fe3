package delimited

import (
	"bytes"
	"errors"
	"testing"

	"underbond/parsers"
	"underbond/parsers/parserstest"
)

func TestTruncation(t *testing.T) {
	for name, e := range examples(t) {
		parserstest.Truncation(t, New(e.profile), []parserstest.Sample{{Name: name, Data: e.data}})
	}
	parserstest.Truncation(t, New(profile(t, "peaks.yaml")), []parserstest.Sample{{Name: "with a footer", Data: []byte(text(t, "peaks.csv"))}})
	parserstest.Truncation(t, elementReader(t), []parserstest.Sample{{Name: "generated", Data: elementTable(300_000)}})
}

// TestCutRows: without a footer a file cut at a line end reads, and says that nothing
// proves its end; one cut anywhere else is refused.
func TestCutRows(t *testing.T) {
	data, reader := elementTable(8_000), elementReader(t)
	atLineEnd := 0
	for at := len("Batch: bench\r\n"); at < len(data); at++ {
		part := data[:at]
		_, err := reader.Read(t.Context(), bytes.NewReader(part), parsers.Options{}, discard{})
		proof, _, proofErr := reader.EndProof(bytes.NewReader(part), int64(at))
		if proofErr != nil {
			t.Fatal(proofErr)
		}
		var refusal *parsers.Refusal
		if whole := bytes.HasSuffix(part, []byte("\n")); whole && bytes.Count(part, []byte("\n")) > 2 {
			atLineEnd++
			if err != nil || proof != parsers.EndProofNone {
				t.Errorf("cut at byte %d, a line end: %v, end proof %s", at, err, proof)
			}
		} else if !errors.As(err, &refusal) || !whole && proof != parsers.EndProofFailed {
			t.Errorf("cut at byte %d: %v, end proof %s", at, err, proof)
		}
	}
	if atLineEnd < 50 {
		t.Errorf("only %d cuts at a line end", atLineEnd)
	}
}
