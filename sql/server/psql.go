package server

import (
	"fmt"
	"os"
	"path"
	"runtime"
	"strings"
)

func (c *cluster) pgpassFile() string { return c.folder.abs(path.Join(c.home, "pgpass")) }

// PsqlCommand is a command line that connects the superuser to a database. It
// asks for no password and works for root and for the account that runs the server.
func (s *Server) PsqlCommand(database string) string {
	c := s.cluster
	psql := program(c.install.Dir, "psql")
	// Some distributions put the client elsewhere, on PATH.
	if _, err := os.Stat(psql); err != nil {
		psql = "psql"
	}
	return psqlCommand(runtime.GOOS, psql, c.pgpassFile(), c.host, c.port, database)
}

func psqlCommand(goos, psql, pgpass, host string, port int, database string) string {
	if goos == "windows" {
		return fmt.Sprintf(`set "PGPASSFILE=%s" && "%s" -h %s -p %d -U %s -d "%s"`, pgpass, psql, host, port, AdminRole, database)
	}
	return fmt.Sprintf("PGPASSFILE=%s %s -h %s -p %d -U %s -d %s",
		shellQuote(pgpass), shellQuote(psql), shellQuote(host), port, AdminRole, shellQuote(database))
}

// shellQuote quotes a word for a POSIX shell if it needs that.
func shellQuote(word string) string {
	plain := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("/._-@+", r)
	}
	if word != "" && strings.IndexFunc(word, func(r rune) bool { return !plain(r) }) < 0 {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}
