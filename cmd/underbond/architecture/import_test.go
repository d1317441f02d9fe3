package architecture

import (
	"slices"
	"strings"
	"testing"
)

// rule says what of the project a package may import. The first rule that fits counts.
type rule struct {
	dir     string
	allowed []string
}

var importMap = []rule{
	{"parsers", nil},
	{"parsers/located", nil},
	{"parsers/delimited/rows", nil},
	{"parsers/ucum", nil},
	{"parsers/delimited", []string{"parsers", "parsers/located", "parsers/ucum", "parsers/delimited/rows"}},
	{"parsers/registry", []string{"parsers/**"}},
	{"parsers/mzml", []string{"parsers", "parsers/mzml/**"}},
	{"parsers/**", []string{"parsers"}},

	{"qc", []string{"qc/*", "parsers", "parsers/extract"}},
	{"qc/unit", []string{"parsers", "parsers/ucum"}},
	{"qc/document", []string{"parsers/**", "qc/unit"}},
	{"qc/**", []string{"parsers/**", "qc/unit", "qc/document"}},

	{"ingest/custody/**", []string{"ingest/custody/faultpoint"}},
	{"ingest/watch", []string{"ingest/custody/**"}},
	{"ingest/record", []string{"qc/**", "parsers/**", "ingest/custody"}},
	{"ingest/worker", []string{"qc/**", "parsers/**", "ingest/custody/**", "ingest/record"}},
	{"ingest/**", []string{"ingest/**", "qc/**", "parsers/**"}},

	{"sql/migrations", nil},
	{"sql/queries", nil},
	{"sql/server/**", []string{"sql/server/**"}},
	{"sql/store", []string{"sql/migrations", "sql/queries", "qc/**", "parsers", "ingest/custody/**", "ingest/record"}},

	{"cmd/underbond/config", []string{"qc/**", "parsers/**", "ingest/custody"}},
	{"cmd/underbond/api", []string{"qc/**", "parsers", "ingest/custody"}},
	{"cmd/underbond/scenario", []string{"qc/**", "parsers/**", "testdata/**"}},
	{"cmd/**", []string{"**"}},
	{"testdata/**", nil},
}

func allowed(dir, imported string) (ok, known bool) {
	for _, r := range importMap {
		if matches(r.dir, dir) {
			return slices.ContainsFunc(r.allowed, func(a string) bool { return a == "**" || matches(a, imported) }), true
		}
	}
	return false, false
}

// ours gives the folder of a package of the project.
func ours(imported string) (dir string, is bool) { return strings.CutPrefix(imported, module+"/") }

func TestImportsFollowTheMap(t *testing.T) {
	s := load(t)
	used := map[string]bool{}
	for dir := range s.packages {
		for _, imported := range s.imports(dir) {
			target, is := ours(imported)
			if !is {
				continue
			}
			ok, known := allowed(dir, target)
			switch {
			case !known:
				t.Errorf("%s imports %s and has no place in the import map", dir, target)
			case !ok:
				t.Errorf("%s imports %s, which the import map forbids", dir, target)
			}
			used[dir] = true
		}
	}
	if len(used) < 15 {
		t.Errorf("only %d packages import others of the project: the check sees too little", len(used))
	}
}

// TestTheMapForbids makes sure that the map says no to what was decided against.
func TestTheMapForbids(t *testing.T) {
	for name, pair := range map[string][2]string{
		"a format knows another format":      {"parsers/mzml", "parsers/jcampdx"},
		"parsers know decisions":             {"parsers", "qc"},
		"a leaf knows the engine":            {"qc/method", "qc"},
		"a leaf knows another leaf":          {"qc/calibration", "qc/signal"},
		"decisions know the record":          {"qc", "sql/store"},
		"custody knows decisions":            {"ingest/custody", "qc"},
		"the pipeline knows the store":       {"ingest", "sql/store"},
		"watching knows the worker":          {"ingest/watch", "ingest/worker"},
		"migrations know the store":          {"sql/migrations", "sql/store"},
		"the store knows the pipeline":       {"sql/store", "ingest"},
		"the store starts a server":          {"sql/store", "sql/server"},
		"configuration knows the store":      {"cmd/underbond/config", "sql/store"},
		"a door knows the store":             {"cmd/underbond/api", "sql/store"},
		"a worker knows the pipeline":        {"ingest/worker", "ingest"},
		"the private server knows the store": {"sql/server", "sql/store"},
	} {
		if ok, known := allowed(pair[0], pair[1]); ok || !known {
			t.Errorf("%s: %s may import %s", name, pair[0], pair[1])
		}
	}
}

// TestDoorsDoNotSpeakToPostgres: only the commands that wire things together and the
// store know the driver.
func TestDoorsDoNotSpeakToPostgres(t *testing.T) {
	s := load(t)
	may := []string{"sql/**", "cmd/underbond/fault"}
	for dir := range s.packages {
		for _, imported := range s.imports(dir) {
			if strings.HasPrefix(imported, "github.com/jackc/pgx") && !slices.ContainsFunc(may, func(m string) bool { return matches(m, dir) }) {
				t.Errorf("%s imports %s", dir, imported)
			}
		}
	}
}
