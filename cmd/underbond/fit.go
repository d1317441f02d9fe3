package main

import (
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"

	"underbond/parsers/located"
	"underbond/qc/calibration"
)

type fitCommand struct {
	Model      string   `name:"model" required:"" help:"average-rf, linear, linear-through-zero, quadratic, polynomial:N, standard-addition or point-to-point." placeholder:"MODEL"`
	Weight     string   `name:"weight" default:"1" enum:"1,1/x,1/x^2,1/y,1/s^2" help:"Weight of a point: ${enum}. Weights are scaled to mean 1."`
	Predict    []string `name:"predict" help:"Responses to read amounts from; 13.5x4 is the mean of four readings." placeholder:"Y"`
	Confidence float64  `name:"confidence" default:"0.95" help:"Level of confidence of the intervals."`
	LODRule    string   `name:"lod-rule" default:"calibration" enum:"calibration,calibration-3.3,din-32645,blank,mdl,signal-to-noise" help:"Rule for the limits of detection and quantitation: ${enum}."`
	Blank      []string `name:"blank" help:"Readings of blanks, for the rules blank and mdl; by default the points at x = 0 (blank)." placeholder:"Y"`
	Spike      []string `name:"spike" help:"Readings of spiked samples, for the rule mdl; by default the points of the lowest level above zero." placeholder:"Y"`
	Noise      string   `name:"noise" help:"Noise from peak to peak in response units, for the rule signal-to-noise." placeholder:"H"`
	JSON       bool     `name:"json" help:"Print JSON, at full precision."`
	Points     string   `arg:"" type:"existingfile" help:"CSV file with the columns x, y and optionally s, the standard deviation of y." placeholder:"POINTS.csv"`
}

// reading is a response to read an amount from: the mean of several readings.
type reading struct {
	y          float64
	replicates int
}

// request is what the command line asks for, checked.
type request struct {
	model      calibration.Model
	weight     string
	readings   []reading
	confidence float64
	rule       calibration.Rule
	blanks     []float64
	spikes     []float64
	noise      *float64
}

// Run fits a calibration function to the points and prints it with its diagnostics.
func (c *fitCommand) Run(io streams) error {
	asked, err := c.request()
	if err != nil {
		return err
	}
	data, err := os.ReadFile(c.Points)
	if err != nil {
		return fmt.Errorf("read the points: %w", err)
	}
	points, err := readPoints(c.Points, data, asked.weight == calibration.WeightInverseS2)
	if err != nil {
		return err
	}
	curve, err := calibration.Fit(points.Points, asked.model, asked.weight)
	if err != nil {
		return points.locate(err, asked)
	}
	report, err := newFitReport(curve, asked)
	if err != nil {
		return err
	}
	report.Weight = c.Weight
	if c.JSON {
		return printJSON(io.out, report)
	}
	return report.print(io.out)
}

func (c *fitCommand) request() (*request, error) {
	model, err := calibration.ParseModel(c.Model)
	if err != nil {
		return nil, &usageError{fmt.Sprintf("--model: %v", err)}
	}
	asked := &request{model: model, weight: fitWeights[c.Weight], confidence: c.Confidence, rule: calibration.Rule(c.LODRule)}
	if !(c.Confidence > 0 && c.Confidence < 1) {
		return nil, &usageError{fmt.Sprintf("--confidence %v is not between 0 and 1, such as 0.95", c.Confidence)}
	}
	if model == calibration.ModelAverageRF && c.Weight != "1" && c.Weight != "1/x^2" || model == calibration.ModelPointToPoint && c.Weight != "1" {
		return nil, &usageError{fmt.Sprintf("--weight %s does not go with --model %s", c.Weight, model)}
	}
	if model == calibration.ModelStandardAddition && len(c.Predict) > 0 {
		return nil, &usageError{"--predict does not go with standard-addition: the amount in the sample is its x intercept"}
	}
	for _, text := range c.Predict {
		r, err := parseReading(text)
		if err != nil {
			return nil, err
		}
		asked.readings = append(asked.readings, r)
	}
	if asked.blanks, err = parseResponses("--blank", c.Blank); err != nil {
		return nil, err
	}
	if asked.spikes, err = parseResponses("--spike", c.Spike); err != nil {
		return nil, err
	}
	if c.Noise != "" {
		noise, err := parseResponses("--noise", []string{c.Noise})
		if err != nil {
			return nil, err
		}
		asked.noise = &noise[0]
	}
	return asked, nil
}

// fitWeights are the weightings by the words of the command line.
var fitWeights = map[string]string{"1": calibration.WeightNone, "1/x": calibration.WeightInverseX, "1/x^2": calibration.WeightInverseXSq,
	"1/y": calibration.WeightInverseY, "1/s^2": calibration.WeightInverseS2}

// parseReading reads "13.5" or "13.5x4".
func parseReading(text string) (reading, error) {
	response, count, many := strings.Cut(strings.TrimSpace(text), "x")
	r := reading{replicates: 1}
	var err error
	if r.y, err = located.Number(strings.TrimSpace(response)); err != nil {
		return reading{}, &usageError{fmt.Sprintf("--predict %q: %v; write a response, or 13.5x4 for the mean of four readings", text, err)}
	}
	if many {
		if r.replicates, err = strconv.Atoi(count); err != nil || r.replicates < 1 || count[0] == '+' {
			return reading{}, &usageError{fmt.Sprintf("--predict %q: %q is not a number of readings; 13.5x4 is the mean of four", text, count)}
		}
	}
	return r, nil
}

func parseResponses(flag string, texts []string) ([]float64, error) {
	var values []float64
	for _, text := range texts {
		v, err := located.Number(strings.TrimSpace(text))
		if err != nil {
			return nil, &usageError{fmt.Sprintf("%s: %v", flag, err)}
		}
		values = append(values, v)
	}
	return values, nil
}

// fitLimits gives the limits of detection and quantitation by the rule asked for. A
// missing option is a mistake on the command line; other errors leave the limits
// undefined.
func fitLimits(c *calibration.Curve, asked *request) (*calibration.Limits, error) {
	switch asked.rule {
	case calibration.RuleCalibration33:
		return c.LimitsBySlope()
	case calibration.RuleDIN:
		const readings, alpha, k = 1, 0.01, 3
		return c.LimitsByDIN(readings, alpha, k)
	case calibration.RuleBlank:
		blanks := asked.blanks
		if blanks == nil {
			blanks = responsesAt(c, 0)
		}
		if len(blanks) < 2 {
			return nil, &usageError{"--lod-rule blank needs at least two readings of a blank: give --blank Y,… or replicates at x = 0"}
		}
		return c.LimitsByBlank(blanks)
	case calibration.RuleNoise:
		if asked.noise == nil {
			return nil, &usageError{"--lod-rule signal-to-noise needs the noise from peak to peak: give --noise H"}
		}
		return c.LimitsByNoise(*asked.noise)
	case calibration.RuleMDL:
		return detectionLimit(c, asked)
	}
	return c.LimitsByCalibration()
}

// detectionLimit is the method detection limit of the amounts that the readings stand for.
func detectionLimit(c *calibration.Curve, asked *request) (*calibration.Limits, error) {
	spikes := asked.spikes
	if spikes == nil {
		spikes = responsesAt(c, lowestAbove(c, 0))
	}
	const least = 7
	if len(spikes) < least || asked.blanks != nil && len(asked.blanks) < least {
		return nil, &usageError{"--lod-rule mdl needs at least seven readings of spiked samples, and of blanks where they are given: --spike Y,… --blank Y,…"}
	}
	found, err := fitAmounts(c, spikes)
	if err != nil {
		return nil, err
	}
	inBlanks, err := fitAmounts(c, asked.blanks)
	if err != nil {
		return nil, err
	}
	var blanks []*float64
	for i := range inBlanks {
		blanks = append(blanks, &inBlanks[i])
	}
	m, err := calibration.MethodDetectionLimit(found, blanks)
	if err != nil {
		return nil, err
	}
	return &calibration.Limits{Rule: calibration.RuleMDL, LOD: m.MDL, LOQ: undefined}, nil
}

func fitAmounts(c *calibration.Curve, responses []float64) ([]float64, error) {
	var out []float64
	for _, y := range responses {
		x, err := c.Amount(y)
		if err != nil {
			return nil, err
		}
		out = append(out, x)
	}
	return out, nil
}

func responsesAt(c *calibration.Curve, x float64) []float64 {
	var out []float64
	for _, p := range c.Points {
		if p.X == x {
			out = append(out, p.Y)
		}
	}
	return out
}

func lowestAbove(c *calibration.Curve, x float64) float64 {
	lowest := undefined
	for _, p := range c.Points {
		if p.X > x && !(p.X >= lowest) {
			lowest = p.X
		}
	}
	return lowest
}

// isUsage tells that an error is a mistake on the command line.
func isUsage(err error) bool {
	var usage *usageError
	return errors.As(err, &usage)
}
