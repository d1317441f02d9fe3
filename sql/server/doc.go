// Package server runs the private Postgres that the daemon uses when no
// database URL is configured. It finds binaries that are already on the
// machine, keeps one cluster in <dir>/pg/<major>/data, runs the server as a
// child process that is reachable only through a unix socket in a private
// folder (on Windows through a loopback port), and stops it when the daemon
// ends. It never deletes, upgrades or repairs a data folder.
//
// What lies in Options.Dir:
//
//	pg.lock                    held by the live daemon
//	pg/                        0700, owned by the account that runs the server
//	pg/<major>/data            the cluster; appears only when complete
//	pg/<major>/s               the socket
//	pg/<major>/passwords/ROLE  one line, 0600
//	pg/<major>/pgpass          the same passwords for psql and pg_dump
package server
