// Package fault holds the tests that break things on purpose: they kill the daemon at
// every durable operation, cut its connection to Postgres around COMMIT, stop the
// server under it and rewrite files behind its back, and compare what is left with an
// undisturbed run and with a ledger that the generator wrote before it dropped a file.
// The daemon under test is the real program, built with the tag "sabotage".
package fault
