package parserstest

import (
	"bytes"
	"testing"

	"underbond/parsers"
)

// everyByte is up to which size content is cut at every byte.
const everyByte = 4096

// Truncation cuts each sample at 200 places, small ones at every byte, and wants of
// each part that it is refused, or that its end proof is not held, or that nothing was
// lost: the sink has the same calls, or a warning says what is missing.
func Truncation(t *testing.T, reader parsers.Reader, samples []Sample) {
	t.Helper()
	for _, s := range samples {
		t.Run(s.Name, func(t *testing.T) {
			all := &recorder{data: true}
			problems, err := reader.Read(t.Context(), bytes.NewReader(s.Data), parsers.Options{}, all)
			if err != nil {
				t.Fatal(err)
			}
			whole := calls(all, problems)
			step := 1
			if len(s.Data) > everyByte {
				step = len(s.Data) / 200
			}
			refused, unproved, same := 0, 0, 0
			for at := 0; at < len(s.Data); at += step {
				part := s.Data[:at]
				sink := &recorder{data: true}
				problems, err := reader.Read(t.Context(), bytes.NewReader(part), parsers.Options{}, sink)
				proof, why, proofErr := reader.EndProof(bytes.NewReader(part), int64(at))
				switch {
				case proofErr != nil:
					t.Errorf("cut at byte %d: end proof: %v", at, proofErr)
				case err != nil:
					refused++
					if !isRefusal(err) {
						t.Errorf("cut at byte %d: %v is no refusal", at, err)
					}
				case proof != parsers.EndProofHeld:
					unproved++
					if proof == parsers.EndProofFailed && why == "" {
						t.Errorf("cut at byte %d: the end proof failed and does not say why", at)
					}
				case calls(sink, problems) == whole || len(problems)+sink.warned > 0:
					same++
				default:
					t.Errorf("cut at byte %d of %d: read as whole, and something is lost", at, len(s.Data))
				}
			}
			t.Logf("%d bytes: %d cuts refused, %d read without end proof, %d lost nothing or said so", len(s.Data), refused, unproved, same)
		})
	}
}
