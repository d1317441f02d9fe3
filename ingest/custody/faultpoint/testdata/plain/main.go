// Command plain links the custody package so that a test can look at what a
// normal build contains.
package main

import (
	"fmt"
	"os"

	"underbond/ingest/custody"
)

func main() {
	a, err := custody.OpenArchive(os.Args[1])
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	fmt.Println(a.ID())
}
