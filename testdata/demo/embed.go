// Package demo holds the static documents of the demonstration: methods and the
// profiles of tabular exports. Everything else of the demonstration is generated.
package demo

import "embed"

// Documents are the folders methods and profiles.
//
//go:embed methods/*.yaml profiles/*.yaml
var Documents embed.FS
