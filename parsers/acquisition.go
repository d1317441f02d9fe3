package parsers

// Header is what one acquisition says of itself.
type Header struct {
	// Record is the acquisition's number within the file, from 1.
	Record int `json:"record"`
	// NativeKey identifies the acquisition from its content (run and injection
	// number, for instance). Empty when the content has no such key; the caller then
	// uses the file's place.
	NativeKey string `json:"native_key,omitempty"`
	// Format and Version are the format's name and the version that the content claims.
	Format  string `json:"format"`
	Version string `json:"version,omitempty"`
	// Title, Sample and Vial are as the content gives them, unchanged.
	Title  string `json:"title,omitempty"`
	Sample string `json:"sample,omitempty"`
	Vial   string `json:"vial,omitempty"`
	// Start is when the recording started, as written.
	Start Start `json:"start"`
	// Fields are all other header values as written, in file order.
	Fields []Field `json:"fields,omitempty"`
}

// Field is one header value as written.
type Field struct {
	Name string `json:"name"`
	Text string `json:"text"`
}

// Quantity names what an axis or a value measures. Units are UCUM codes; the text
// as written is kept beside them. An unknown unit has an empty code.
type Quantity struct {
	Name     string `json:"name,omitempty"`      // "wavelength", "absorbance", "time", "intensity", …
	Unit     string `json:"unit,omitempty"`      // UCUM, normalised
	UnitText string `json:"unit_text,omitempty"` // as written
}

// Signal is a Spectrum, a Chromatogram or a Table.
type Signal interface{ isSignal() }

// Spectrum is one ordered set of points (x, y): absorbance over wavelength,
// intensity over m/z. X and Y have the same length. A missing ordinate is NaN.
type Spectrum struct {
	Index int    // within the acquisition, from 0
	ID    string // as written
	Kind  string // the data type as the format names it
	// Table is the form of the data as the format names it, such as "XYDATA (X++(Y..Y))".
	Table  string
	XAxis  Quantity
	YAxis  Quantity
	X, Y   []float64
	Fields []Field

	// Mass spectra; zero elsewhere.
	MSLevel        int
	Polarity       string  // "positive", "negative" or ""
	Representation string  // "profile", "centroid" or ""
	ScanTime       float64 // seconds from the start of the run; NaN when the content gives none with a unit
	Precursors     []Precursor
	ScanWindows    []Window // ranges scanned, lower and upper limit; Target is NaN

	// Extra are arrays beside the two axes, such as charges or mobilities, in file order.
	Extra []Array
	// Lost says that a part of the content's data is not here; a problem of grade
	// Lost tells which.
	Lost bool
}

// Window is a range of m/z or wavelength with its target. What is not given is NaN.
type Window struct {
	Target, Low, High float64
}

// Precursor is what was selected and fragmented before a spectrum was taken.
type Precursor struct {
	SpectrumID string // as written; empty when not given
	Isolation  Window // m/z
	Ions       []Ion
	Activation []string // methods, by their standard names
	Energy     float64  // collision energy in electronvolts; NaN when not given
}

// Ion is a selected ion. What is not given is NaN, and 0 for the charge.
type Ion struct {
	MZ        float64
	Charge    int
	Intensity float64
}

// Array is one array beside the two axes of a signal: values or, for text, strings.
// Its length may differ from that of the axes.
type Array struct {
	Quantity
	Values []float64
	Text   []string
}

// Chromatogram is a response over time. Time and Value have the same length.
type Chromatogram struct {
	Index     int
	ID        string
	Kind      string   // "total ion current", "selected reaction monitoring", "absorption", …
	TimeAxis  Quantity // seconds ("s") when the content gives a unit, as written otherwise
	ValueAxis Quantity
	Time      []float64
	Value     []float64
	// Precursor and Product are m/z of a selected reaction; NaN elsewhere.
	Precursor, Product float64
	// Wavelength is in nanometres for an absorption trace; NaN elsewhere.
	Wavelength float64
	Fields     []Field

	// Extra and Lost are as for a Spectrum.
	Extra []Array
	Lost  bool
}

// Table is a table of rows as an instrument exports them: a peak table, an element
// table, a log of readings. Every row has one cell for each column.
type Table struct {
	Name    string
	Columns []Column
	Rows    []Row
}

// Column describes a table column.
type Column struct {
	Name     string `json:"name"`    // as written in the header row
	Meaning  string `json:"meaning"` // from the profile, such as "area", "analyte"; empty when unmapped
	Unit     string `json:"unit,omitempty"`
	UnitText string `json:"unit_text,omitempty"`
}

// Row is one table row with its place in the file.
type Row struct {
	Line  int
	Cells []Cell
}

// Cell is one table cell: the text as written and, where the column is numeric and
// the text is a number, its value. Missing is nil, never 0.
type Cell struct {
	Text  string
	Value *float64
	// Mark says why there is no value: "empty", "not a number", "not found", "below", "above".
	Mark string
}

func (*Spectrum) isSignal()     {}
func (*Chromatogram) isSignal() {}
func (*Table) isSignal()        {}
