package mzml

// coding is how an array's values became bytes.
type coding struct {
	width       int  // bytes of a value; 0 when no data type is stated
	integer     bool // of that width
	text        bool // strings, each ended by a zero byte
	numpress    term // one of the three codecs, or 0
	plain       bool
	zlib, zstd  bool
	shuffled    bool // first all first bytes, then all second bytes, …
	dictionary  bool // distinct values and indices into them
	predicted   term // termTruncateDelta or termTruncateLinear, or 0
	unsupported string
	types       int
}

// term takes up a term about the coding; false when it is about something else.
func (c *coding) term(t term) bool {
	switch t {
	case termFloat64:
		c.width, c.types = 8, c.types+1
	case termFloat32:
		c.width, c.types = 4, c.types+1
	case termFloat16:
		c.width, c.types = 2, c.types+1
	case termInt64:
		c.width, c.integer, c.types = 8, true, c.types+1
	case termInt32:
		c.width, c.integer, c.types = 4, true, c.types+1
	case termASCII:
		c.width, c.text, c.types = 1, true, c.types+1
	case termPlain:
		c.plain = true
	case termZlib, termTruncate:
		c.zlib = true
	case termTruncateDelta, termTruncateLinear:
		c.zlib, c.predicted = true, t
	case termZstd:
		c.zstd = true
	case termZstdShuffled:
		c.zstd, c.shuffled = true, true
	case termZstdDictionary:
		c.zstd, c.dictionary = true, true
	case termNumpressLinear, termNumpressPic, termNumpressSlof:
		c.press(t)
	case termNumpressLinearZlib, termNumpressPicZlib, termNumpressSlofZlib:
		c.zlib = true
		c.press(t - termNumpressLinearZlib + termNumpressLinear)
	case termNumpressLinearZstd, termNumpressPicZstd, termNumpressSlofZstd:
		c.zstd = true
		c.press(t - termNumpressLinearZstd + termNumpressLinear)
	case termCoordinateGrid:
		c.unsupported = "coordinate grid"
	default:
		return false
	}
	return true
}

func (c *coding) press(t term) {
	if c.numpress != 0 && c.numpress != t {
		c.unsupported = "two Numpress codecs"
	}
	c.numpress = t
}

// fault says why values cannot be decoded, or "". Numpress gives doubles whatever the
// data type says.
func (c *coding) fault() string {
	rearranged := c.shuffled || c.dictionary || c.predicted != 0
	switch {
	case c.unsupported != "":
		return "the coding (" + c.unsupported + ") is not supported"
	case c.zlib && c.zstd, c.plain && (c.zlib || c.zstd || c.numpress != 0),
		c.shuffled && c.dictionary, c.numpress != 0 && rearranged:
		return "contradictory compression terms"
	case !c.plain && !c.zlib && !c.zstd && c.numpress == 0:
		return "no compression term that is known"
	case c.numpress == 0 && c.types == 0:
		return "no data type"
	case c.numpress == 0 && c.types > 1:
		return "more than one data type"
	case c.text && (rearranged || c.numpress != 0):
		return "text in a coding of numbers"
	case c.predicted != 0 && (c.integer || c.width < 4):
		return "a prediction of values that are no 32 or 64-bit floats"
	}
	return ""
}
