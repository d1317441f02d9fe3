package document

import (
	"errors"

	"underbond/qc/unit"
)

// UnitHint is the hint that comes with an unknown unit.
func UnitHint(err error) string {
	var unknown *unit.UnknownError
	if errors.As(err, &unknown) {
		return unknown.Hint
	}
	return ""
}
