// Package queries holds the SQL of the store, one statement a file, named by what it does.
package queries

import (
	"embed"
	"io/fs"
)

//go:embed *.sql
var files embed.FS

// Names lists all statements.
func Names() []string {
	names, err := fs.Glob(files, "*.sql")
	if err != nil {
		panic(err)
	}
	return names
}

// Text is the statement in the named file. An unknown name is a mistake in the program.
func Text(name string) string {
	text, err := files.ReadFile(name)
	if err != nil {
		panic(err)
	}
	return string(text)
}
