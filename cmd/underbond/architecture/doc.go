// Package architecture holds no code, only tests that keep the source as it was decided:
// which package may import which, what the pure core must not touch, and how files and
// packages are kept.
package architecture
