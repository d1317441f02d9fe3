// Package custody keeps instrument exports so that they cannot be lost: an
// archive of objects named by the SHA-256 of their bytes, and a journal with one
// line for each arrival. Both are plain files that an auditor can check without
// this program, and neither needs a database.
//
// An arrival counts only when its object and its journal line have reached the
// disk. All calls that make that so go through one seam (see disk), where a test
// build can fail them or kill the process between any two.
package custody
