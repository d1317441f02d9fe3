package inspect

import (
	_ "embed"
	"time"

	"underbond/parsers"
)

// Schema is the JSON Schema of a Report.
//
//go:embed inspect.schema.json
var Schema []byte

// Outcomes of a file.
const (
	OutcomeRead    = "read"
	OutcomeWarned  = "read with warnings"
	OutcomeRefused = "refused"
)

// Report is what a file holds. A refused file has no acquisitions.
type Report struct {
	File          string           `json:"file"`
	SHA256        string           `json:"sha256"`
	Format        Text             `json:"format"`  // missing when no reader knows the content
	Profile       Text             `json:"profile"` // of a delimited export
	FormatVersion Text             `json:"format_version"`
	Outcome       string           `json:"outcome"`
	EndProof      parsers.EndProof `json:"end_proof"`
	Problems      []Problem        `json:"problems"`
	Acquisitions  []Acquisition    `json:"acquisitions"`
}

// Problem is one remark of the reader.
type Problem struct {
	Grade   parsers.Grade `json:"grade"`
	Code    string        `json:"code"`
	Where   parsers.Place `json:"where"`
	Message string        `json:"message"`
}

// StartNoZone: the content gives a wall clock time without offset, and no zone was named to read it in.
const StartNoZone parsers.StartStatus = "no zone"

// Acquisition is one acquisition of the file.
type Acquisition struct {
	Record       int                 `json:"record"`
	NativeKey    Text                `json:"native_key"`
	Title        Text                `json:"title"`
	Sample       Text                `json:"sample"`
	Vial         Text                `json:"vial"`
	StartedAt    *time.Time          `json:"started_at"` // UTC
	StartedText  Text                `json:"started_text"`
	StartStatus  parsers.StartStatus `json:"start_status"`
	Metadata     []parsers.Field     `json:"metadata"` // as written, in file order
	Tables       []Table             `json:"tables"`
	SpectrumN    int                 `json:"spectrum_count"`
	Spectra      []Spectrum          `json:"spectra"`
	ChromatoN    int                 `json:"chromatogram_count"`
	Chromatogram []Chromatogram      `json:"chromatograms"`
}

// Units are the units of a signal's axes: UCUM codes, and as written.
type Units struct {
	XUnit     Text `json:"x_unit"`
	XUnitText Text `json:"x_unit_text"`
	YUnit     Text `json:"y_unit"`
	YUnitText Text `json:"y_unit_text"`
}

// Table is a data table: a spectrum of a format that writes spectra as tables, or a
// table of rows. Sum, least and greatest leave missing ordinates out.
type Table struct {
	Index    int    `json:"index"`
	ID       Text   `json:"id"` // block or page
	Label    Text   `json:"label"`
	Form     string `json:"form"` // variable list as written, or "table"
	DataType Text   `json:"data_type"`
	Units
	Points   *int             `json:"points"` // of a spectrum
	First    Pair             `json:"first"`
	Last     Pair             `json:"last"`
	SumY     Value            `json:"sum_y"`
	MinY     Value            `json:"min_y"`
	MaxY     Value            `json:"max_y"`
	Rows     *int             `json:"rows"` // of a table of rows
	Columns  []parsers.Column `json:"columns"`
	Metadata []parsers.Field  `json:"metadata"` // what stands with this table alone
	Lost     bool             `json:"lost"`     // a problem of that grade says why
	XY       *Points          `json:"xy,omitempty"`
	Cells    [][]Cell         `json:"cells,omitempty"`
}

// Spectrum summarises a spectrum of a run.
type Spectrum struct {
	Index    int   `json:"index"`
	ID       Text  `json:"id"`
	Kind     Text  `json:"kind"`
	MSLevel  Count `json:"ms_level"`
	Polarity Text  `json:"polarity"`
	Mode     Text  `json:"mode"`
	ScanTime Value `json:"scan_time_s"`
	Units
	Points        int     `json:"points"`
	First         Value   `json:"first"`
	Last          Value   `json:"last"`
	Sum           Value   `json:"sum"`
	BaseAt        Value   `json:"base_at"`
	BaseIntensity Value   `json:"base_intensity"`
	Lost          bool    `json:"lost"` // a problem of that grade says what
	XY            *Points `json:"xy,omitempty"`
}

// Chromatogram summarises a chromatogram. Times are in seconds; they are missing when
// the content gives no unit of time.
type Chromatogram struct {
	Index      int   `json:"index"`
	ID         Text  `json:"id"`
	Kind       Text  `json:"type"`
	Precursor  Value `json:"precursor_mz"`
	Product    Value `json:"product_mz"`
	Wavelength Value `json:"wavelength_nm"`
	Units
	Points int     `json:"points"`
	First  Value   `json:"first_s"`
	Last   Value   `json:"last_s"`
	Sum    Value   `json:"sum"`
	Max    Value   `json:"max"`
	MaxAt  Value   `json:"max_at_s"`
	Lost   bool    `json:"lost"` // a problem of that grade says what
	XY     *Points `json:"xy,omitempty"`
}
