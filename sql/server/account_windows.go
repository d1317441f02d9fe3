package server

import (
	"fmt"
	"os/user"
)

// chooseAccount returns the caller: on Windows the server always runs under the account of the daemon.
func chooseAccount(configured, _ string) (a account, warnings []string, err error) {
	if u, err := user.Current(); err == nil {
		a.Name = u.Username
	}
	if configured != "" && configured != a.Name {
		warnings = append(warnings, fmt.Sprintf("the private database runs as %q: on Windows it cannot run as another account (%q is configured)", a.Name, configured))
	}
	return a, warnings, nil
}

// blocker finds nothing: no change of account, so no folder can be in the way of one.
func blocker(string, account) (string, bool) { return "", false }
