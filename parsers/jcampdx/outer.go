package jcampdx

import (
	"crypto/sha256"
	"io"

	"underbond/parsers"
)

// outerPrefix marks a label that stands in a block around the acquisition's own, once
// for each block on the way out. A label's scope is its block, so such a value describes the
// compound and never stands in for a label that the inner block does not have.
const outerPrefix = "LINK/"

// mostOuterFields bounds the labels of outer blocks that each inner acquisition repeats.
const mostOuterFields = 256

// ofOuterAlone are the labels that say what the outer block is rather than what is in it.
var ofOuterAlone = map[string]bool{"DATATYPE": true, "BLOCKS": true}

// outerFields gives the labels that the blocks around b have before it, the outermost first.
func (b *block) outerFields() []parsers.Field {
	o := b.outer
	if o == nil {
		return nil
	}
	if o.handed == nil {
		fields := []parsers.Field{}
		for _, f := range o.outerFields() {
			fields = append(fields, parsers.Field{Name: outerPrefix + f.Name, Text: f.Text})
		}
		fields = append(fields, parsers.Field{Name: outerPrefix + "TITLE", Text: o.title})
		for _, f := range o.fields {
			if ofOuterAlone[normalise([]byte(f.Name))] {
				continue
			}
			if len(fields) >= mostOuterFields {
				o.warn("jcampdx-outer-labels", o.place, "the block has more labels than the %d that inner blocks repeat", mostOuterFields)
				break
			}
			fields = append(fields, parsers.Field{Name: outerPrefix + f.Name, Text: f.Text})
		}
		o.handed = fields
	}
	return o.handed
}

// outerDigest adds the outer labels to the digest of a block: they are part of its header.
func (b *block) outerDigest(own [32]byte) (sum [32]byte) {
	fields := b.outerFields()
	if len(fields) == 0 {
		return own
	}
	h := sha256.New()
	h.Write(own[:])
	for _, f := range fields {
		_, _ = io.WriteString(h, f.Name+"\x00"+f.Text+"\x00") // a hash takes everything
	}
	h.Sum(sum[:0])
	return sum
}
