package propose

import (
	"regexp"
	"slices"
	"strings"

	"underbond/parsers/delimited"
	"underbond/parsers/ucum"
)

// commonNames are meanings by the names that columns and preamble lines often have,
// written small and without punctuation.
var commonNames = map[string][]string{
	"run":         {"run", "run id", "run no", "sequence", "sequence name", "sequence id", "batch", "batch id", "batch name", "series"},
	"injection":   {"injection", "inj", "inj no", "injection no", "injection number", "injection id"},
	"vial":        {"vial", "vial no", "vial number", "vial position", "position", "pos", "tray position", "rack position", "cup"},
	"sample":      {"sample", "sample name", "sample id", "sample no", "sample number", "sample label", "sample code", "label", "identifier", "identifier 1", "probe", "probenname", "muestra", "échantillon"},
	"title":       {"title", "description"},
	"start":       {"date", "time", "date time", "date and time", "datetime", "timestamp", "acquired", "acquisition date", "acquisition time", "acquisition date time", "acq date", "acq time", "injected", "injection date", "injection time", "measured", "measured at", "measurement date", "measurement time", "started", "start", "start time", "start date", "analysis date", "analysis time", "run date", "run time start", "datum", "zeit", "fecha", "hora", "heure"},
	"utc offset":  {"utc", "utc offset", "offset", "time zone", "timezone"},
	"analyte":     {"analyte", "compound", "compound name", "component", "component name", "substance", "peak", "peak name", "analyte name", "element", "parameter"},
	"cas":         {"cas", "cas no", "cas number", "cas rn"},
	"retention":   {"retention time", "retention", "ret time", "rt", "r t", "tr"},
	"area":        {"area", "peak area"},
	"height":      {"height", "peak height"},
	"amount":      {"amount", "concentration", "conc", "content", "result"},
	"strength":    {"strength", "alcohol", "alcohol content", "alcoholic strength", "abv"},
	"density":     {"density"},
	"temperature": {"temperature", "temp", "cell temperature"},
	"replicate":   {"replicate", "rep", "rep no", "replicate no", "repeat", "repetition"},
	"reading":     {"no", "nr", "number", "reading", "reading no", "index", "row"},
	"remark":      {"remark", "remarks", "comment", "comments", "note", "notes"},
	"operator":    {"operator", "analyst", "user"},
	"integration": {"integration", "integration type", "peak type"},
	"dilution":    {"dilution", "dilution factor"},
}

// printedNames are names of preamble lines that change with every export.
var printedNames = []string{"printed", "printed at", "print date", "exported", "exported at", "export date", "export time", "report date", "report time", "report generated", "created"}

// meaningOfName inverts commonNames.
var meaningOfName = func() map[string]string {
	m := map[string]string{}
	for meaning, names := range commonNames {
		for _, name := range names {
			m[name] = meaning
		}
	}
	return m
}()

// textMeanings are of columns that are text even when all cells are digits.
var textMeanings = []string{"run", "injection", "vial", "sample", "title", "analyte", "cas", "replicate", "reading", "remark", "operator", "integration", "utc offset"}

// measured are meanings whose numbers say nothing without a unit.
var measured = []string{"retention", "amount", "strength", "density", "temperature"}

// numeric are meanings of numbers.
var numeric = append([]string{"area", "height"}, measured...)

var (
	bracket  = regexp.MustCompile(`^(.*?)\s*[\[(]([^\[\]()]*)[\])]\s*$`)
	tail     = regexp.MustCompile(`^(.*\S)\s*[,/]\s*(\S+)$`)
	element  = regexp.MustCompile(`^(?:(\d{1,3})\s*-?\s*([A-Z][a-z]?)|([A-Z][a-z]?)\s*-?\s*(\d{1,3})?)$`)
	isotopic = regexp.MustCompile(`^(?:d|δ|δ\s|delta\s?)(\d{1,3})([A-Z][a-z]?)$`)
	notWord  = regexp.MustCompile(`[^\pL\pN]+`)
)

// symbols of the elements that laboratories measure.
var symbols = strings.Fields("H Li Be B C N O F Na Mg Al Si P S Cl K Ca Sc Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As Se Br Rb Sr Y Zr Nb Mo Ru Rh Pd Ag Cd In Sn Sb Te I Cs Ba La Ce Pr Nd Sm Eu Gd Tb Dy Ho Er Tm Yb Lu Hf Ta W Re Os Ir Pt Au Hg Tl Pb Bi Th U")

// cutUnit parts a name from the unit behind it: "Area [pA*s]", "RT (min)", "Area, mAU·s".
// note says why a text in brackets is no unit.
func cutUnit(name string) (rest, unit, note string) {
	if m := bracket.FindStringSubmatch(name); m != nil && m[1] != "" {
		if ucum.Code(m[2]) != "" {
			return m[1], strings.TrimSpace(m[2]), ""
		}
		return name, "", m[2]
	}
	if m := tail.FindStringSubmatch(name); m != nil && ucum.Code(m[2]) != "" && m[2] != "1" {
		return m[1], m[2], ""
	}
	return name, "", ""
}

// plain writes a name small and without punctuation.
func plain(name string) string {
	return strings.TrimSpace(notWord.ReplaceAllString(strings.ToLower(name), " "))
}

// guess gives the likely meaning of a name without its unit; "" when it says none.
func guess(name, unit string) string {
	if name == "#" {
		return "reading"
	}
	if meaning, ok := meaningOfName[plain(name)]; ok {
		return meaning
	}
	if unit == "°C" || ucum.Code(unit) == "Cel" {
		return "temperature"
	}
	if m := isotopic.FindStringSubmatch(name); m != nil && slices.Contains(symbols, m[2]) {
		return "d" + m[1] + m[2]
	}
	name = strings.TrimSpace(strings.TrimSuffix(name, "(IS)"))
	if m := element.FindStringSubmatch(name); m != nil {
		symbol, mass := m[2]+m[3], m[1]+m[4]
		if slices.Contains(symbols, symbol) && (mass != "" || unit != "") {
			if code := ucum.Code(unit); strings.HasPrefix(code, "{counts}") {
				return "counts " + symbol
			}
			return symbol
		}
	}
	return ""
}

// isStart tells meanings that a date can have.
func isStart(meaning string) bool { return meaning == "" || meaning == delimited.MeaningStart }
