// Package delimited reads tables that instruments export as delimited text: peak
// tables, element tables, logs of readings. No two programs write such text alike, so
// a profile, a versioned document, states everything about one export that cannot be
// known from its bytes: encoding, marks, columns with their meaning and unit, and what
// makes up one acquisition. What differs from the profile is refused, never guessed.
package delimited

// Profile is one version of a profile document.
type Profile struct {
	Kind    string `yaml:"kind" json:"kind"` // always "profile"
	Name    string `yaml:"name" json:"name"`
	Version string `yaml:"version" json:"version"`
	Title   string `yaml:"title,omitempty" json:"title,omitempty"`
	// Invented marks demo profiles.
	Invented bool `yaml:"invented,omitempty" json:"invented,omitempty"`

	// Encoding of the text: one of Encodings. A byte order mark that says otherwise refuses the file.
	Encoding string `yaml:"encoding" json:"encoding"`
	// Delimiter between cells: "," ";" "|" or a tabulator ("\t").
	Delimiter string `yaml:"delimiter" json:"delimiter"`
	// Quoting is "double quotes" (default, RFC 4180) or "none".
	Quoting string `yaml:"quoting,omitempty" json:"quoting,omitempty"`
	// DecimalMark is "." or ",".
	DecimalMark string `yaml:"decimal_mark" json:"decimal_mark"`
	// GroupMark separates thousands; absent: numbers have none, and one that has is refused.
	GroupMark string `yaml:"group_mark,omitempty" json:"group_mark,omitempty"`
	// Comment is the text that lines to be passed over begin with.
	Comment string `yaml:"comment,omitempty" json:"comment,omitempty"`

	// Preamble describes lines before the header row; absent: there are none.
	Preamble *Preamble `yaml:"preamble,omitempty" json:"preamble,omitempty"`
	// Header is "row" (default) when a row names the columns, or "none": the columns then
	// have numbers.
	Header string `yaml:"header,omitempty" json:"header,omitempty"`
	// HeaderRow is the exact header row. Absent: the columns may come in any order.
	HeaderRow []string `yaml:"header_row,omitempty" json:"header_row,omitempty"`
	// Columns are all columns that the header row must have.
	Columns []ColumnSpec `yaml:"columns" json:"columns"`
	// OtherColumns is "refuse" (default) or "ignore".
	OtherColumns string `yaml:"other_columns,omitempty" json:"other_columns,omitempty"`

	// Shape is "long" (several rows make an acquisition) or "wide" (each row is one).
	Shape string `yaml:"shape" json:"shape"`
	// Key lists the meanings, of columns or preamble lines, that identify an acquisition
	// by its content. In the long shape adjoining rows with equal key form an
	// acquisition; without a key the whole file is one.
	Key []string `yaml:"key,omitempty" json:"key,omitempty"`
	// DateFormat of the start, such as "YYYY-MM-DD HH:mm:ss" or "DD/MM/YYYY HH:mm".
	DateFormat string `yaml:"date_format,omitempty" json:"date_format,omitempty"`
	// UTCOffset is what the start's clock is ahead of UTC, "+01:00" or "Z", for exports
	// that never change it. Absent: the start says it itself (Z in the date format, or a
	// column or preamble line with the meaning "utc offset"), or the instrument's zone counts.
	UTCOffset string `yaml:"utc_offset,omitempty" json:"utc_offset,omitempty"`
	// Qualifiers are what number cells may hold instead of a number.
	Qualifiers Qualifiers `yaml:"qualifiers,omitempty" json:"qualifiers,omitempty"`

	// End is "newline" when the last row must end with a line end: a file cut inside its
	// last row is then found out, one cut between rows is not. "none" (default) says that
	// nothing marks the end.
	End string `yaml:"end,omitempty" json:"end,omitempty"`
	// Footer is the last line of a complete export; {rows} in it stands for the number of rows.
	Footer string `yaml:"footer,omitempty" json:"footer,omitempty"`
}

// Preamble describes lines "name separator value" before the header row.
type Preamble struct {
	// Separator between name and value: ":" or "=", or the delimiter.
	Separator string `yaml:"separator" json:"separator"`
	// LineCount is how many lines there are, blank ones and comments left out; only, and
	// always, where no header row follows them.
	LineCount int             `yaml:"line_count,omitempty" json:"line_count,omitempty"`
	Lines     []PreambleField `yaml:"lines,omitempty" json:"lines,omitempty"`
	// Other is what happens to lines that are not listed: "keep" (default) as header
	// fields of the acquisitions, or "refuse".
	Other string `yaml:"other,omitempty" json:"other,omitempty"`
}

// PreambleField is one preamble line.
type PreambleField struct {
	Name     string `yaml:"name" json:"name"` // as written
	Meaning  string `yaml:"meaning,omitempty" json:"meaning,omitempty"`
	Required bool   `yaml:"required,omitempty" json:"required,omitempty"`
	// Volatile lines change with every export of the same data (the time of printing).
	// They count neither as header fields nor in an acquisition's digest, so that
	// exporting again revises nothing.
	Volatile bool `yaml:"volatile,omitempty" json:"volatile,omitempty"`
}

// ColumnSpec is one column.
type ColumnSpec struct {
	Name string `yaml:"name" json:"name"` // as written in the header row
	// Number is the column's place from 1, in exports without a header row.
	Number int `yaml:"number,omitempty" json:"number,omitempty"`
	// Meaning is what methods ask for: analyte, cas, retention (minutes), area, height,
	// amount, strength, density, temperature, replicate (of one analyte within an
	// acquisition) or any other word; run, injection, vial, sample, title, start and utc
	// offset describe the acquisition.
	Meaning string `yaml:"meaning,omitempty" json:"meaning,omitempty"`
	Unit    string `yaml:"unit,omitempty" json:"unit,omitempty"` // as the export means it
	Type    string `yaml:"type" json:"type"`                     // "number", "text" or "time" (the start)
}

// Qualifiers list texts in number cells by what they say. Below and Above are the
// texts before a number, AfterNumber those behind one; the others are the whole cell.
// An empty cell is always missing. Any other text that is no number refuses the file.
type Qualifiers struct {
	Below       []string `yaml:"below,omitempty" json:"below,omitempty"`               // "<": below the number that follows
	Above       []string `yaml:"above,omitempty" json:"above,omitempty"`               // ">"
	BelowRange  []string `yaml:"below_range,omitempty" json:"below_range,omitempty"`   // "<LLOQ": below what can be measured
	AboveRange  []string `yaml:"above_range,omitempty" json:"above_range,omitempty"`   // ">ULOQ"
	NotFound    []string `yaml:"not_found,omitempty" json:"not_found,omitempty"`       // "n.d."
	NotANumber  []string `yaml:"not_a_number,omitempty" json:"not_a_number,omitempty"` // "NaN", "overflow"
	Empty       []string `yaml:"empty,omitempty" json:"empty,omitempty"`               // "-"
	AfterNumber []Flag   `yaml:"after_number,omitempty" json:"after_number,omitempty"` // "#" in "12.3 #"
}

// Flag is a text behind a number and what it makes of it.
type Flag struct {
	Text string `yaml:"text" json:"text"`
	// Says is "value" (the number stands), "below", "above", "not found" or "not a number".
	Says string `yaml:"says" json:"says"`
}

// Marks of cells without a value.
const (
	MarkEmpty      = "empty"
	MarkNotANumber = "not a number"
	MarkNotFound   = "not found"
	MarkBelow      = "below"
	MarkAbove      = "above"
)

// OpenQuestion stands in a proposed profile where a person has to decide. A profile
// that has it anywhere is refused at that place.
const OpenQuestion = "QUESTION"

// Meanings that become the acquisition's header.
const (
	MeaningStart  = "start"
	MeaningVial   = "vial"
	MeaningSample = "sample"
	MeaningTitle  = "title"
	// MeaningOffset is what the start's clock is ahead of UTC.
	MeaningOffset = "utc offset"
)

// Meanings that name a row within an acquisition.
const (
	MeaningAnalyte = "analyte"
	// MeaningReplicate counts the readings of one analyte, or says "mean" and the like.
	MeaningReplicate = "replicate"
)

var headerMeanings = []string{MeaningStart, MeaningOffset, MeaningVial, MeaningSample, MeaningTitle}

// Values of a profile's keys.
const (
	shapeLong, shapeWide             = "long", "wide"
	typeNumber, typeText, typeTime   = "number", "text", "time"
	quotingDouble, quotingNone       = "double quotes", "none"
	otherRefuse, otherIgnore         = "refuse", "ignore"
	preambleKeep, preambleRefuse     = "keep", "refuse"
	endNewline, endNone              = "newline", "none"
	footerRows                       = "{rows}"
	headerIsRow, headerNone          = "row", "none"
	flagValue                        = "value"
	encodingUTF8, encodingUTF16      = "utf-8", "utf-16"
	encodingUTF16LE, encodingUTF16BE = "utf-16le", "utf-16be"
)
