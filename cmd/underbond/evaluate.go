package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"underbond/cmd/underbond/offline"
	"underbond/qc"
)

type evaluateCommand struct {
	Method    string   `name:"method" short:"m" type:"existingfile" help:"Method document." placeholder:"METHOD.yaml"`
	Worklist  string   `name:"worklist" short:"w" type:"existingfile" help:"Worklist; without it every acquisition is a sample." placeholder:"WORKLIST.csv"`
	Samples   string   `name:"samples" type:"existingfile" help:"Sample register." placeholder:"SAMPLES.csv"`
	Standards string   `name:"standards" type:"existingfile" help:"Standards list." placeholder:"STANDARDS.csv"`
	Profile   []string `name:"profile" short:"p" type:"existingfile" sep:"none" help:"Profile of delimited exports; by default the method's, looked for beside it." placeholder:"PROFILE.yaml"`
	Zone      string   `name:"zone" default:"UTC" help:"Time zone of the instrument PC."`
	Inputs    string   `name:"inputs" type:"existingfile" help:"Evaluate stored inputs, one JSON document a line, instead of files." placeholder:"FILE.ndjson"`
	JSON      bool     `name:"json" help:"Print JSON."`
	Files     []string `arg:"" optional:"" type:"existingfile" help:"Export files."`
}

// maxInput bounds one line of stored inputs.
const maxInput = 1 << 30

// Run evaluates files or stored inputs. Held results are no failure; refused input is.
func (c *evaluateCommand) Run(ctx context.Context, io streams) error {
	if c.Inputs != "" {
		if c.Method != "" || len(c.Files) > 0 {
			return &usageError{"--inputs stands alone: the inputs hold the method and everything else"}
		}
		return c.replay(ctx, io)
	}
	if c.Method == "" || len(c.Files) == 0 {
		return &usageError{"give a method with -m and at least one export file, or --inputs"}
	}
	zone, err := time.LoadLocation(c.Zone)
	if err != nil {
		return &usageError{fmt.Sprintf("--zone %q is not a time zone; use a name such as Europe/Berlin", c.Zone)}
	}
	in, err := offline.Input(ctx, offline.Request{Method: c.Method, Worklist: c.Worklist, Samples: c.Samples, Standards: c.Standards,
		Profiles: c.Profile, Exports: c.Files, Zone: zone})
	if err != nil {
		return err
	}
	w := c.writer(io.out)
	if err := w.write(in); err != nil {
		return err
	}
	return w.close()
}

func (c *evaluateCommand) replay(ctx context.Context, streams streams) error {
	file, err := os.Open(c.Inputs)
	if err != nil {
		return fmt.Errorf("open the inputs: %w", err)
	}
	defer file.Close()
	w := c.writer(streams.out)
	defer w.out.Flush() // after an error: the evaluations before it, in JSON without the end
	lines := bufio.NewReaderSize(file, 1<<20)
	for n := 1; ; n++ {
		line, readErr := readLine(lines)
		if readErr != nil && !errors.Is(readErr, io.EOF) {
			return fmt.Errorf("%s:%d: %w", c.Inputs, n, readErr)
		}
		if len(bytes.TrimSpace(line)) > 0 {
			in, err := parseInput(line)
			if err != nil {
				return fmt.Errorf("%s:%d: not an evaluation input: %w", c.Inputs, n, err)
			}
			if err := w.write(in); err != nil {
				return fmt.Errorf("%s:%d: %w", c.Inputs, n, err)
			}
		}
		if readErr != nil {
			return w.close()
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
}

// parseInput reads a line that holds one input and nothing else.
func parseInput(line []byte) (*qc.Input, error) {
	in := &qc.Input{}
	decoder := json.NewDecoder(bytes.NewReader(line))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(in); err != nil {
		return nil, err
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("something follows the JSON document")
	}
	return in, nil
}

// readLine reads a line of any length up to maxInput.
func readLine(r *bufio.Reader) ([]byte, error) {
	var line []byte
	for {
		part, err := r.ReadSlice('\n')
		line = append(line, part...)
		if len(line) > maxInput {
			return nil, fmt.Errorf("the line is longer than %d bytes", maxInput)
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return line, err
		}
	}
}

// evaluationWriter prints evaluations as they are made.
type evaluationWriter struct {
	out  *bufio.Writer
	json bool
	n    int
}

func (c *evaluateCommand) writer(out io.Writer) *evaluationWriter {
	return &evaluationWriter{out: bufio.NewWriter(out), json: c.JSON}
}

func (w *evaluationWriter) write(in *qc.Input) error {
	e, err := qc.Evaluate(in)
	if err != nil {
		return err
	}
	w.n++
	if !w.json {
		return printEvaluation(w.out, e)
	}
	body, err := qc.Canonical(e)
	if err != nil {
		return err
	}
	if w.n == 1 {
		fmt.Fprintf(w.out, "{\"schema_version\":%d,\"batches\":[", qc.EvaluationSchema)
	} else {
		w.out.WriteString(",\n")
	}
	_, err = w.out.Write(body)
	return err
}

func (w *evaluationWriter) close() error {
	if w.json {
		if w.n == 0 {
			fmt.Fprintf(w.out, "{\"schema_version\":%d,\"batches\":[", qc.EvaluationSchema)
		}
		w.out.WriteString("]}\n")
	}
	return w.out.Flush()
}

// printEvaluation prints an evaluation as text tables.
func printEvaluation(out io.Writer, e *qc.Evaluation) error {
	state := "open"
	if e.Closed {
		state = "closed"
	}
	fmt.Fprintf(out, "Batch %s (%s), method %s, engine %s, input %.12s\n", safe(e.Batch), state, safe(e.Method), e.Engine, e.InputSHA256)
	if len(e.Calibrations) > 0 {
		fmt.Fprintln(out, "\nCalibrations")
		t := newTable(out, "analyte", "model", "weight", "coefficients", "r²", "range", "unit", "accepted")
		for _, c := range e.Calibrations {
			t.row(c.Analyte, c.Model, c.Weight, coefficients(c.Coefficients), number(c.R2, 6), span(c.Range), c.Unit, yes(c.Accepted, c.Reasons))
		}
		if err := t.flush(); err != nil {
			return err
		}
	}
	fmt.Fprintln(out, "\nChecks")
	t := newTable(out, "verdict", "rule", "analyte", "reason")
	for _, c := range e.Checks {
		t.row(c.Verdict, c.Rule, c.Analyte, c.Reason)
	}
	if err := t.flush(); err != nil {
		return err
	}
	fmt.Fprintln(out, "\nResults")
	t = newTable(out, "position", "sample", "analyte", "basis", "result", "unit", "disposition", "held by or waiting for", "notice")
	for _, r := range e.Results {
		notices := make([]string, len(r.Notices))
		for i, n := range r.Notices {
			notices[i] = n.Text
		}
		t.row(strconv.Itoa(r.Position), r.Sample, r.Analyte, r.Basis, r.Reported, r.Unit, r.Disposition,
			strings.Join(append(append([]string{}, r.HeldBy...), r.WaitingFor...), "; "), strings.Join(notices, "; "))
	}
	if err := t.flush(); err != nil {
		return err
	}
	for _, f := range e.Findings {
		fmt.Fprintf(out, "Finding %s: %s\n", safe(f.Code), safe(f.Text))
	}
	_, err := fmt.Fprintln(out, "\n"+cautions)
	return err
}

// cautions stand wherever results are read.
const cautions = "A screen that disagrees with a claim is a reason to investigate, not proof of fraud. A notice never says that a product is safe to drink.\n" +
	"Limits and acceptance criteria of shipped methods are examples: the laboratory's validated method, its accreditation body and local law decide."

func number(v *float64, digits int) string {
	if v == nil {
		return "–"
	}
	return strconv.FormatFloat(*v, 'g', digits, 64)
}

// coefficients lists those of a calibration function, lowest power first.
func coefficients(list []float64) string {
	if len(list) == 0 {
		return "–"
	}
	texts := make([]string, len(list))
	for i := range list {
		texts[i] = number(&list[i], 6)
	}
	return strings.Join(texts, ", ")
}

func span(list []float64) string {
	if len(list) != 2 {
		return "–"
	}
	return number(&list[0], 4) + " – " + number(&list[1], 4)
}

func yes(accepted bool, reasons []string) string {
	if accepted {
		return "yes"
	}
	return "no: " + strings.Join(reasons, "; ")
}
