// Package mzml reads mzML 1.1 files: mass and ultraviolet spectra and chromatograms
// of one run, plain or inside the indexedmzML wrapper, bare or gzip-compressed.
//
// Content is read in one pass by a pull scanner that checks well-formedness as it
// goes, and each signal leaves soon after its element closes, so memory depends on
// the largest signal and not on the file. Arrays are decoded beside the scanner where
// there is more than one processor. Terms are matched on their accession and never on
// their name, because real files misname them. Reading from the start does not use the
// index; OpenIndex gives single signals through it once it proves right.
//
// A file that is cut, not well-formed or not a released version is refused. An array
// that cannot be decoded (unknown coding, damaged base64 or compression, a length that
// does not fit) does not refuse the file: its signal leaves with the ordinates missing,
// or without points when the axis is lost, marked as Lost, beside a located problem of
// that grade.
package mzml
