package main

import (
	"fmt"
	"runtime"
	"runtime/debug"

	"underbond/qc"
)

// version is set by the release build: -ldflags "-X main.version=1.2.3".
var version = ""

type versionCommand struct {
	JSON bool `name:"json" help:"Print JSON."`
}

// Run prints the build.
func (c *versionCommand) Run(io streams) error {
	if c.JSON {
		return printJSON(io.out, map[string]string{"version": build(), "engine": qc.Engine, "go": runtime.Version(), "platform": runtime.GOOS + "/" + runtime.GOARCH})
	}
	_, err := fmt.Fprintf(io.out, "underbond %s, engine %s, %s %s/%s\n", build(), qc.Engine, runtime.Version(), runtime.GOOS, runtime.GOARCH)
	return err
}

// build names the program's version: the release, else the revision it was built from.
func build() string {
	if version != "" {
		return version
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	revision, modified := "", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			revision = fmt.Sprintf("%.12s", s.Value)
		case s.Key == "vcs.modified" && s.Value == "true":
			modified = "+changes"
		}
	}
	if revision == "" {
		return "development"
	}
	return revision + modified
}
