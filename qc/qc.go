// Package qc decides. Reduce turns an acquisition's signals into a small reduction,
// once; Evaluate takes one value with everything that may matter and returns
// calibrations, checks and results with their reasons. Both are pure: the same
// input gives the same output, byte for byte, and nothing else has influence.
package qc

// Engine is the version of the computation. It rises whenever the same input can
// give another output; a golden test holds it to that.
const Engine = "1"
