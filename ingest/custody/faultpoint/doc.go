// Package faultpoint marks the places where a crash must do no harm and the
// protections whose absence a test must notice.
//
// In a normal build every function here is empty and inlined away: the program
// holds no switch that weakens it. Under the build tag "sabotage", which only
// tests use, the process kills itself at a chosen durable operation, dies or waits
// at a named place, and named protections can be switched off, so that a sweep over
// all operations can show that each crash is survived, and a control that each
// protection is needed.
package faultpoint
