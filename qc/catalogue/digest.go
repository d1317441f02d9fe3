package catalogue

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"slices"
)

// Digest gives the SHA-256, in hexadecimal, of all that the catalogue says and of the
// rules by which names are compared. It does not depend on the order in which
// documents were joined, nor on the order of names.
func (c *Catalogue) Digest() string {
	content := struct {
		Rules     int                 `json:"rules"`
		Entries   []Entry             `json:"entries"`
		Ambiguous map[string][]string `json:"ambiguous"`
		Hints     map[string]string   `json:"hints"`
	}{rulesVersion, c.Entries(), map[string][]string{}, map[string]string{}}
	for i := range content.Entries {
		e := &content.Entries[i]
		for _, l := range e.Names.lists() {
			slices.Sort(*l.list)
		}
		slices.Sort(e.AlsoCAS)
		slices.Sort(e.Components)
	}
	for key, a := range c.ambiguous {
		content.Ambiguous[key] = slices.Sorted(slices.Values(a.Entries))
		content.Hints[key] = a.Hint
	}
	data, err := json.Marshal(content)
	if err != nil {
		panic(err) // only unsupported types or a NaN mass, which Parse and Extend refuse
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}
