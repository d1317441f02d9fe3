package jcampdx

import (
	"errors"
	"fmt"
	"io"

	"underbond/parsers"
)

// proveEnd follows the labels of the content and tells whether every block is closed
// and nothing but white space, comments and end-of-file padding follows.
func proveEnd(src io.Reader) (parsers.EndProof, string, error) {
	opt := parsers.Options{Limits: parsers.Limits{}.WithDefaults()}
	lines, err := newLineReader(src, opt)
	if err != nil {
		return proofOf(err)
	}
	var hasTable []bool // of each open block
	begun := false
	for {
		line, err := lines.read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return proofOf(err)
		}
		l, ok := parseLabel(stripComment(line))
		switch {
		case !ok:
			if len(hasTable) == 0 && begun && !isTail(stripComment(line)) {
				return parsers.EndProofFailed, fmt.Sprintf("line %d follows the last ##END=", lines.line), nil
			}
		case l.norm == "TITLE" && l.equal:
			begun = true
			if n := len(hasTable); n > 0 && hasTable[n-1] {
				hasTable = hasTable[:n-1]
			}
			if len(hasTable) >= opt.Limits.Depth {
				return parsers.EndProofFailed, fmt.Sprintf("blocks are nested deeper than %d", opt.Limits.Depth), nil
			}
			hasTable = append(hasTable, false)
		case l.norm == "" && l.equal:
		case len(hasTable) == 0:
			return parsers.EndProofFailed, fmt.Sprintf("the label on line %d stands outside of all blocks", lines.line), nil
		case l.norm == "END":
			hasTable = hasTable[:len(hasTable)-1]
		case tableLabels[l.norm]:
			hasTable[len(hasTable)-1] = true
		}
	}
	switch {
	case !begun:
		return parsers.EndProofFailed, "there is no ##TITLE=", nil
	case len(hasTable) > 0:
		return parsers.EndProofFailed, fmt.Sprintf("%d blocks have no ##END=", len(hasTable)), nil
	}
	return parsers.EndProofHeld, "", nil
}

// proofOf turns a refusal into a failed proof; other errors are passed on.
func proofOf(err error) (parsers.EndProof, string, error) {
	var refusal *parsers.Refusal
	if errors.As(err, &refusal) {
		return parsers.EndProofFailed, refusal.Error(), nil
	}
	return parsers.EndProofFailed, "", err
}
