// Package worklist holds the worklist document: the list that says position, file or
// vial, sample, role, standards and dilution for a batch.
package worklist

// Roles of a position.
const (
	RoleStandard     = "calibration standard"
	RoleCalBlank     = "calibration blank"
	RoleMethodBlank  = "method blank"
	RoleCheck        = "check standard"
	RoleInitialCheck = "initial check standard"
	RoleControl      = "laboratory control sample"
	RoleReference    = "certified reference material"
	RoleDuplicate    = "duplicate"
	RoleSpike        = "matrix spike"
	RoleSample       = "sample"
)

// Worklist is one version of a worklist; its name is the batch's name.
type Worklist struct {
	Name       string `json:"name"`
	Version    string `json:"version"`
	Method     string `json:"method"`     // method name; the version is the one effective when measured
	Instrument string `json:"instrument"` // name of the instrument as configured
	Author     string `json:"author,omitempty"`
	Reason     string `json:"reason,omitempty"` // of a change; required from the second version on
	Lines      []Line `json:"lines"`
}

// Line is one position of a worklist.
type Line struct {
	Position  int       `json:"position"` // from 1, unique
	Run       string    `json:"run"`
	PrepBatch string    `json:"prep_batch,omitempty"`
	PrepID    string    `json:"prep_id,omitempty"`
	File      string    `json:"file,omitempty"` // base name of the export
	Vial      string    `json:"vial,omitempty"` // vial or injection key within the export
	Sample    string    `json:"sample,omitempty"`
	Role      string    `json:"role"`
	Standards []string  `json:"standards,omitempty"` // ids in the standards list
	Nominals  []Nominal `json:"nominals,omitempty"`  // beside or instead of the standards list's values
	Dilution  float64   `json:"dilution"`            // factor, 1 when undiluted
	Parent    int       `json:"parent,omitempty"`    // position of the duplicate's or spike's parent
	Row       int       `json:"row"`                 // line in the file, for messages
}

// Nominal is a nominal amount of one analyte.
type Nominal struct {
	Analyte string  `json:"analyte"`
	Value   float64 `json:"value"`
	Unit    string  `json:"unit"`
}

// Names tells whether the line names an acquisition: each of file and vial that the
// line gives must agree. file is the base name of the export.
func (l Line) Names(file, vial string) bool {
	return (l.File == "" || l.File == file) && (l.Vial == "" || l.Vial == vial)
}
