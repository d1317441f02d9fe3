package mzml

// Codes of refusals: the content cannot be trusted as a whole.
const (
	CodeEmpty       = "mzml-empty"        // no bytes
	CodeTruncated   = "mzml-truncated"    // the content ends before the root element closes
	CodeSyntax      = "mzml-syntax"       // not well-formed XML
	CodeEncoding    = "mzml-encoding"     // declared encoding unknown or contradicted by the bytes
	CodeDoctype     = "mzml-doctype"      // a document type declaration
	CodeRoot        = "mzml-root"         // another kind of document
	CodeVersion     = "mzml-version"      // a draft, or a version that is not known
	CodeStructure   = "mzml-structure"    // elements missing, twice or at the wrong place
	CodeGzip        = "mzml-gzip"         // gzip container damaged or cut
	CodeLimitBytes  = "mzml-limit-bytes"  // more content than Limits.TotalBytes
	CodeLimitToken  = "mzml-limit-token"  // a tag, value or payload that is too long
	CodeLimitDepth  = "mzml-limit-depth"  // nesting beyond Limits.Depth
	CodeLimitCount  = "mzml-limit-count"  // attributes or signals beyond their limit
	CodeLimitPoints = "mzml-limit-points" // a signal that declares more points than Limits.Points
)

// Codes of problems with arrays. They have the grade Lost where values are not there. As
// warnings they say that the values are there and another number of them was declared
// (CodeArrayLength), or that an array has several terms for what it holds and so is
// neither axis nor ordinate (CodeArrayCoding).
const (
	CodeArrayCoding  = "mzml-array-coding"  // data type or compression absent, contradictory or not supported
	CodeArrayDamaged = "mzml-array-damaged" // base64 or compressed data that does not decode
	CodeArrayLength  = "mzml-array-length"  // decoded and declared lengths differ
	CodeArrayMissing = "mzml-array-missing" // no axis array or no value array, or one of them twice
)

// Codes of warnings where the points are there.
const (
	CodeChecksum       = "mzml-checksum"        // SHA-1 in the wrapper absent, malformed or different
	CodeVersionEmpty   = "mzml-version-empty"   // version not stated; read as 1.1
	CodeNamespace      = "mzml-namespace"       // elements in no namespace
	CodeCount          = "mzml-count"           // declared number of elements absent or different
	CodeIndexAttribute = "mzml-index-attribute" // index attribute differs from the position
	CodeTimeUnit       = "mzml-time-unit"       // time without a unit that is known
	CodeStart          = "mzml-start"           // start time stamp not readable
	CodeValue          = "mzml-value"           // header value not readable or contradictory
	CodeReference      = "mzml-reference"       // reference to something that is not in the file
	CodeElement        = "mzml-element"         // element or text that does not belong where it stands
	CodeEncodedLength  = "mzml-encoded-length"  // base64 length differs from the declared one
	CodeAxisOrder      = "mzml-axis-order"      // axis values not in rising order; kept in file order
	CodeNotFinite      = "mzml-not-finite"      // infinite values, or an axis value that is no number
	CodePrecision      = "mzml-precision"       // integers too large for a 64-bit float
)
