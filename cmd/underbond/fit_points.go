package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"underbond/parsers/delimited/rows"
	"underbond/parsers/located"
	"underbond/qc/calibration"
)

// pointsFile is a file of calibration points with the places of its cells.
type pointsFile struct {
	calibration.Points
	file   string
	places []map[string][2]int // line and column by column name, one a point
	faults located.Errors
}

const maxPoints = 4 << 20 // bytes

// pointColumns are the columns that a file of points can have; the first two it must.
var pointColumns = []string{"x", "y", "s"}

// readPoints reads CSV with a header that names the columns x, y and optionally s in any
// order. The standard deviations are kept only when all are there; when they are
// needed, a missing one is a fault. The error lists all faults with their places.
func readPoints(file string, data []byte, needS bool) (*pointsFile, error) {
	p := &pointsFile{file: file}
	if len(data) > maxPoints {
		return nil, located.Errors{{File: file, Message: fmt.Sprintf("the file has %d bytes, more than %d", len(data), maxPoints)}}
	}
	scanner := rows.New(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff"))), rows.Options{Delimiter: ','})
	var header []string
	withS := true
	for {
		row, err := scanner.Next()
		var fault *rows.Fault
		switch {
		case errors.Is(err, io.EOF):
			if header == nil {
				p.fault(1, 1, "begin with a row that names the columns: x,y or x,y,s", "the file is empty")
			} else if len(p.X) == 0 && len(p.faults) == 0 {
				p.fault(2, 1, "", "there is no point below the header")
			}
			if !withS {
				p.S = nil
			}
			return p, p.faults.Err()
		case errors.As(err, &fault):
			p.fault(fault.Line, fault.Column, "", "%s", fault.Message)
			return nil, p.faults.Err()
		case err != nil:
			return nil, fmt.Errorf("read %s: %w", file, err)
		case len(bytes.TrimSpace(bytes.ReplaceAll(row.Raw, []byte(","), nil))) == 0:
			continue
		case header == nil:
			if header = p.header(row); len(p.faults) > 0 {
				return nil, p.faults.Err()
			}
			withS = slices.Contains(header, "s")
		default:
			withS = p.point(row, header, needS) && withS
		}
	}
}

func (p *pointsFile) fault(line, column int, hint, format string, args ...any) {
	p.faults = append(p.faults, located.Error{File: p.file, Line: line, Column: column, Message: fmt.Sprintf(format, args...), Hint: hint})
}

func (p *pointsFile) header(row *rows.Row) []string {
	var names []string
	for i, cell := range row.Cells {
		name := strings.TrimSpace(string(cell))
		line, column := row.Place(i)
		switch {
		case !slices.Contains(pointColumns, name):
			p.fault(line, column, "the columns are x, y and optionally s", "unknown column %q", name)
		case slices.Contains(names, name):
			p.fault(line, column, "keep one of the two", "column %q is there twice", name)
		}
		names = append(names, name)
	}
	for _, name := range pointColumns[:2] {
		if !slices.Contains(names, name) && len(p.faults) == 0 {
			p.fault(row.Line, 1, "the columns are x, y and optionally s", "there is no column %q", name)
		}
	}
	return names
}

// point adds a row; it tells whether the row has a standard deviation.
func (p *pointsFile) point(row *rows.Row, header []string, needS bool) bool {
	if len(row.Cells) != len(header) {
		p.fault(row.Line, 1, "numbers have a decimal point and no thousands separator", "the row has %d cells, the header %d", len(row.Cells), len(header))
		return false
	}
	values, places := map[string]float64{}, map[string][2]int{}
	for i, name := range header {
		line, column := row.Place(i)
		places[name] = [2]int{line, column}
		text := strings.TrimSpace(string(row.Cells[i]))
		if text == "" {
			if name != "s" || needS {
				p.fault(line, column, "", "%s is empty", name)
			}
			continue
		}
		v, err := located.Number(text)
		if err != nil {
			p.fault(line, column, "write a decimal number with a point, without its unit", "%s: %v", name, err)
			continue
		}
		values[name] = v
	}
	s, hasS := values["s"]
	p.X, p.Y, p.S, p.places = append(p.X, values["x"]), append(p.Y, values["y"]), append(p.S, s), append(p.places, places)
	return hasS
}

// locate gives an error of a fit the place of the point that it is about.
func (p *pointsFile) locate(err error, asked *request) error {
	var point *calibration.PointError
	if !errors.As(err, &point) {
		return fmt.Errorf("%s: %w", p.file, err)
	}
	column := map[string]string{calibration.WeightInverseY: "y", calibration.WeightInverseS2: "s"}[asked.weight]
	if column == "" {
		column = "x"
	}
	at := p.places[point.Index][column]
	return located.Errors{{File: p.file, Line: at[0], Column: at[1], Message: fmt.Sprintf("fit %s: %v", asked.model, point.Err),
		Hint: "choose another model or weighting, or leave the point out of the file"}}
}
