package delimited

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"

	"underbond/parsers"
)

// shapeRows are the cells that every accepted file must give back. All invented.
var shapeRows = [][]string{
	{"1", "cider brandy", "12.5", "é; \"x\", y"},
	{"2", "perry\nspirit", "0.125", ""},
	{"3", "", "1e3", "ü"},
	{"4", "last", "345.75", "z"},
}

var shapeNames = []string{"Vial", "Sample", "Area [pA·s]", "Remark"}

// shape is one way to write the rows, and what may be wrong with it.
type shape struct {
	encoding, stated string
	mark             bool // byte order mark
	quoted           bool // all of the header row
	ends             string
	fault            string
}

// written gives the file and the code of the refusal that it must have; "" for none.
func (s shape) written() (data []byte, want string) {
	names, table := slices.Clone(shapeNames), make([][]string, len(shapeRows))
	for i, row := range shapeRows {
		table[i] = slices.Clone(row)
	}
	insert := func(name, cell string) {
		names = slices.Insert(names, 1, name)
		for i := range table {
			table[i] = slices.Insert(table[i], 1, cell)
		}
	}
	end := true
	switch s.fault {
	case "":
	case "duplicate column":
		insert("Vial", "9")
		want = "delimited-header"
	case "unnamed column":
		insert("", "9")
		want = "delimited-header"
	case "missing column":
		names[3] = "Remarks"
		want = "delimited-header"
	case "one cell more":
		table[1] = append(table[1], "9")
		want = "delimited-cells"
	case "one cell less":
		table[1] = table[1][:3]
		want = "delimited-cells"
	case "quote never closed":
		want = "any" // the next opening quote closes it, and what follows tells
	case "cut in the last number", "no last line end":
		end = false
		want = "delimited-cut"
	case "blanks behind":
	case "other order":
		for i, row := range append([][]string{names}, table...) {
			row[0], row[2] = row[2], row[0]
			row[1], row[3] = row[3], row[1]
			if i > 0 {
				table[i-1] = row
			}
		}
	default:
		panic(s.fault)
	}
	var lines []string
	for i, row := range append([][]string{names}, table...) {
		for k, cell := range row {
			if i == 0 && s.quoted || strings.ContainsAny(cell, "\",\n") {
				row[k] = `"` + strings.ReplaceAll(cell, `"`, `""`) + `"`
			}
		}
		lines = append(lines, strings.Join(row, ","))
	}
	if s.fault == "quote never closed" {
		lines[1] = strings.Replace(lines[1], `y"`, `y`, 1)
	}
	body := ""
	for i, line := range lines {
		body += line
		if i == len(lines)-1 && !end {
			break
		}
		switch {
		case s.ends != "mixed":
			body += s.ends
		case i%2 == 0:
			body += "\n"
		default:
			body += "\r\n"
		}
	}
	switch s.fault {
	case "cut in the last number":
		body = body[:strings.LastIndex(body, "5.75")+2]
	case "blanks behind":
		body += "  " + s.ends + ",,," + s.ends + s.ends
	}
	if s.ends == "\r" || s.ends == "mixed" {
		want = "any"
	}
	data, refused := s.encode(body)
	if refused {
		want = "delimited-encoding"
	}
	return data, want
}

// encode gives the bytes, and whether what the profile states contradicts them.
func (s shape) encode(body string) (data []byte, refused bool) {
	switch s.encoding {
	case "utf-8":
		if s.mark {
			body = "\ufeff" + body
		}
		return []byte(body), s.stated != "utf-8"
	case "iso-8859-1":
		for _, r := range body {
			data = append(data, byte(r))
		}
		return data, s.stated == "utf-8" || strings.HasPrefix(s.stated, "utf-16")
	}
	var order binary.AppendByteOrder = binary.LittleEndian
	if s.encoding == "utf-16be" {
		order = binary.BigEndian
	}
	if s.mark {
		data = order.AppendUint16(data, 0xFEFF)
	}
	for _, u := range utf16.Encode([]rune(body)) {
		data = order.AppendUint16(data, u)
	}
	return data, s.stated != s.encoding && !(s.stated == "utf-16" && s.mark)
}

func shapeProfile(t testing.TB, encoding string) *Profile {
	t.Helper()
	p, err := ParseProfile("shape.yaml", []byte(`kind: profile
name: shape
version: "1"
invented: true
encoding: `+encoding+`
delimiter: ","
decimal_mark: "."
columns:
  - {name: Vial, meaning: vial, type: text}
  - {name: Sample, meaning: sample, type: text}
  - {name: "Area [pA·s]", meaning: area, unit: pA·s, type: number}
  - {name: Remark, meaning: remark, type: text}
shape: wide
key: [vial]
end: newline
`))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestShapes reads every combination of encoding, byte order mark, quoting, line ends
// and fault: the very cells, or the refusal that it must be.
func TestShapes(t *testing.T) {
	read, refused := 0, 0
	faults := []string{"", "duplicate column", "unnamed column", "missing column", "one cell more", "one cell less", "quote never closed",
		"cut in the last number", "no last line end", "blanks behind", "other order"}
	for _, encoding := range []string{"utf-8", "utf-16le", "utf-16be", "iso-8859-1"} {
		for _, stated := range []string{"utf-8", "utf-16", "utf-16le", "utf-16be", "iso-8859-1"} {
			if stated == "iso-8859-1" && encoding != stated {
				continue // any bytes are text in it: only a byte order mark could contradict
			}
			reader := New(shapeProfile(t, stated))
			for _, mark := range []bool{false, true} {
				if mark && encoding == "iso-8859-1" {
					continue
				}
				for _, quoted := range []bool{false, true} {
					for _, ends := range []string{"\n", "\r\n", "\r", "mixed"} {
						for _, fault := range faults {
							s := shape{encoding, stated, mark, quoted, ends, fault}
							if checkShape(t, reader, s) {
								read++
							} else {
								refused++
							}
						}
					}
				}
			}
		}
	}
	t.Logf("%d files read with every cell right, %d refused", read, refused)
	if read < 100 || refused < 500 {
		t.Error("the matrix is too small")
	}
}

func checkShape(t *testing.T, reader parsers.Reader, s shape) (read bool) {
	t.Helper()
	data, want := s.written()
	sink := &collector{}
	_, err := reader.Read(t.Context(), bytes.NewReader(data), parsers.Options{}, sink)
	name := fmt.Sprintf("%+v", s)
	if err != nil {
		var r *parsers.Refusal
		switch {
		case !errors.As(err, &r):
			t.Errorf("%s: %v is no refusal", name, err)
		case want == "":
			t.Errorf("%s: refused: %v", name, err)
		case want != "any" && r.Code != want && want != "delimited-encoding":
			t.Errorf("%s: %v, want %s", name, err, want)
		}
		return false
	}
	if want != "" {
		t.Errorf("%s: read, want the refusal %s", name, want)
		return true
	}
	if proof, why, err := reader.EndProof(bytes.NewReader(data), int64(len(data))); proof != parsers.EndProofNone || err != nil {
		t.Errorf("%s: end proof %s (%s), %v", name, proof, why, err)
	}
	if len(sink.all) != len(shapeRows) {
		t.Errorf("%s: %d acquisitions", name, len(sink.all))
		return true
	}
	for i, a := range sink.all {
		cells := a.table.Rows[0].Cells
		for k, cell := range cells {
			if cell.Text != shapeRows[i][k] {
				t.Errorf("%s: row %d, cell %d is %q, want %q", name, i+1, k+1, cell.Text, shapeRows[i][k])
			}
		}
		if value := []float64{12.5, 0.125, 1000, 345.75}[i]; cells[2].Value == nil || *cells[2].Value != value {
			t.Errorf("%s: row %d has the value %v", name, i+1, cells[2].Value)
		}
	}
	return true
}
