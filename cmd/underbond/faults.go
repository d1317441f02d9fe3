package main

import (
	"errors"

	"underbond/qc/document"
)

// faults lists an error's located faults, or the error as one.
func faults(err error) []checkedFault {
	list := []checkedFault{}
	var located document.Errors
	switch {
	case err == nil:
	case errors.As(err, &located):
		for _, e := range located {
			list = append(list, checkedFault{e.Line, e.Column, e.Message, e.Hint})
		}
	default:
		list = append(list, checkedFault{Message: err.Error()})
	}
	return list
}
