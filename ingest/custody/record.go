package custody

import (
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"strconv"
	"time"
)

// Kind says what a journal record holds. A reader passes over kinds that it
// does not know.
type Kind string

const (
	// KindArrival: a file was taken into custody.
	KindArrival Kind = "arrival"
	// KindAnchor: where the ledger's head stood.
	KindAnchor Kind = "anchor"
)

// Record is one line of the journal. The field that Kind names is set.
type Record struct {
	Number  uint64   `json:"number"` // dense from 1 over all kinds
	Kind    Kind     `json:"kind"`
	Arrival *Arrival `json:"arrival,omitempty"`
	Anchor  *Anchor  `json:"anchor,omitempty"`
}

// Arrival says that a file was taken into custody. Daemon and Number identify it.
type Arrival struct {
	Number uint64 `json:"-"` // the record's number; set by the journal
	Daemon string `json:"daemon"`
	Root   string `json:"root"` // name of the watched folder
	// Path is relative to the root, with slashes, byte for byte as the file
	// system gave it.
	Path     []byte `json:"path"`
	PathText string `json:"path_text"` // Printable(Path), for people only
	// SourceMtime is the source's own modification time; a fact, never compared with now.
	SourceMtime time.Time `json:"source_mtime"`
	Size        int64     `json:"size"` // bytes
	SHA256      Hash      `json:"sha256"`
	// EndProof is what the format's end mark said: held, none or failed.
	EndProof string `json:"end_proof"`
	// Incomplete, when not empty, says why the file was taken without being
	// complete: to be kept and refused.
	Incomplete string    `json:"incomplete,omitempty"`
	TakenAt    time.Time `json:"taken_at"`
}

// Anchor is where the ledger's head stood, kept outside the database so that a
// shortened ledger shows.
type Anchor struct {
	Seq  int64     `json:"seq"`
	Hash string    `json:"hash"`
	At   time.Time `json:"at"`
}

// maxLine is the longest line in bytes that can be a record.
const maxLine = 1 << 20

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// crcDigits is how many hex digits the checksum before the space has.
const crcDigits = 8

// appendLine encodes a record as "crc32c json\n": the checksum in 8 hex digits
// covers the bytes of the JSON.
func appendLine(dst []byte, r Record) ([]byte, error) {
	body, err := json.Marshal(r)
	if err != nil {
		return nil, fmt.Errorf("encode journal record %d: %w", r.Number, err)
	}
	if len(body) > maxLine-crcDigits-2 {
		return nil, fmt.Errorf("encode journal record %d: %d bytes are more than a line may have", r.Number, len(body))
	}
	dst = fmt.Appendf(dst, "%08x ", crc32.Checksum(body, castagnoli))
	return append(append(dst, body...), '\n'), nil
}

var (
	errLine     = errors.New("no checksum and record")
	errChecksum = errors.New("the checksum does not fit")
)

// sound gives the JSON of a line without its newline if the checksum fits.
func sound(line []byte) ([]byte, error) {
	if len(line) < crcDigits+1 || line[crcDigits] != ' ' {
		return nil, errLine
	}
	sum, err := strconv.ParseUint(string(line[:crcDigits]), 16, 32)
	if err != nil {
		return nil, errLine
	}
	body := line[crcDigits+1:]
	if crc32.Checksum(body, castagnoli) != uint32(sum) {
		return nil, errChecksum
	}
	return body, nil
}

// decode reads the JSON of a sound line, which must be the record of that number.
func decode(body []byte, number uint64) (Record, error) {
	var r Record
	if err := json.Unmarshal(body, &r); err != nil {
		return Record{}, fmt.Errorf("the checksum fits but the record cannot be read: %w", err)
	}
	if r.Number != number {
		return Record{}, fmt.Errorf("record number %d where %d was due", r.Number, number)
	}
	if (r.Kind == KindArrival) != (r.Arrival != nil) || (r.Kind == KindAnchor) != (r.Anchor != nil) {
		return Record{}, fmt.Errorf("a record of kind %q without its content", r.Kind)
	}
	if r.Arrival != nil {
		r.Arrival.Number = number
	}
	return r, nil
}
