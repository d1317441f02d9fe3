package config

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"underbond/parsers/located"
	"underbond/parsers/parserstest"
)

func TestBad(t *testing.T) {
	parserstest.Bad(t, os.DirFS("testdata/bad"), func(file string, data []byte) error {
		_, err := Parse(file, data)
		return err
	})
}

// TestFaultsHavePlaces wants a line and column for every fault of a document that is not empty.
func TestFaultsHavePlaces(t *testing.T) {
	files, err := filepath.Glob("testdata/bad/*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		if filepath.Base(file) == "empty.yaml" {
			continue
		}
		_, err := Load(file)
		var faults located.Errors
		if !errors.As(err, &faults) {
			t.Errorf("%s: %v has no places", file, err)
			continue
		}
		for _, f := range faults {
			if f.Line < 1 || f.Column < 1 {
				t.Errorf("%s: no place for %q", file, f.Message)
			}
		}
	}
}

func TestExample(t *testing.T) {
	c, err := Load("testdata/underbond.example.yaml")
	if err != nil {
		t.Fatal(err)
	}
	here, err := filepath.Abs("testdata")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range []struct{ name, got, want string }{
		{"folder", c.Folders[0].Path, filepath.Join(here, "exports", "gc-1")},
		{"data", c.Data, filepath.Join(here, "underbond-data")},
		{"archive", c.Archive, filepath.Join(here, "underbond-data", "archive")},
		{"url_file", c.Database.URLFile, filepath.Join(here, "secrets", "database-url")},
	} {
		if path.got != path.want {
			t.Errorf("%s is %s, want %s", path.name, path.got, path.want)
		}
	}
	if zone := c.Folders[1].Location.String(); zone != "Europe/Berlin" {
		t.Errorf("zone %s", zone)
	}
	if len(c.Hash) != 64 {
		t.Errorf("hash %q", c.Hash)
	}
}

// TestExampleNamesEveryKey keeps the example complete.
func TestExampleNamesEveryKey(t *testing.T) {
	data, err := os.ReadFile("testdata/underbond.example.yaml")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.ReplaceAll(string(data), "# url:", "url:")
	each(reflect.TypeFor[Config](), "", func(path string, _ reflect.Type) {
		key := path[strings.LastIndexByte(path, '.')+1:] + ":"
		if !slices.ContainsFunc(strings.Split(text, "\n"), func(line string) bool {
			return strings.HasPrefix(strings.TrimLeft(line, " -"), key)
		}) {
			t.Errorf("the example does not show %s", path)
		}
	})
}

// TestExampleShowsDefaults compares what the example calls defaults with a configuration
// that leaves everything out.
func TestExampleShowsDefaults(t *testing.T) {
	example, err := Load("testdata/underbond.example.yaml")
	if err != nil {
		t.Fatal(err)
	}
	bare, err := Parse("testdata/bare.yaml", []byte("folders: [{name: d, path: d, holds: documents}]\n"))
	if err != nil {
		t.Fatal(err)
	}
	defaults := func(c *Config) string {
		return fmt.Sprint(c.Data, c.Archive, c.Database.RolePrefix, c.HTTP, c.Log, c.Watch.Times, c.Watch.PollOnly, c.Batches.CloseTime)
	}
	if defaults(bare) != defaults(example) {
		t.Errorf("defaults %s, the example shows %s", defaults(bare), defaults(example))
	}
	if bare.Watch.Times.Quiet != 10*time.Second || bare.Folders[0].Format != "auto" || bare.Folders[0].Location != time.UTC {
		t.Errorf("defaults are not filled in: %+v", bare)
	}
}

// each calls use for every yaml key below a struct.
func each(typ reflect.Type, path string, use func(path string, typ reflect.Type)) {
	for i := range typ.NumField() {
		name := typ.Field(i).Tag.Get("yaml")
		if name == "-" {
			continue
		}
		below, field := path+"."+name, typ.Field(i).Type
		use(below, field)
		if field.Kind() == reflect.Slice {
			field = field.Elem()
		}
		if field.Kind() == reflect.Struct {
			each(field, below, use)
		}
	}
}

func TestSchema(t *testing.T) {
	data, err := os.ReadFile("underbond.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	var root map[string]any
	if err := json.Unmarshal(data, &root); err != nil {
		t.Fatal(err)
	}
	var got, want []string
	keysOf(t, root, root, "", &got)
	each(reflect.TypeFor[Config](), "", func(path string, typ reflect.Type) {
		kind := map[reflect.Kind]string{reflect.Bool: "boolean", reflect.Slice: "array", reflect.Struct: "object", reflect.String: "string"}[typ.Kind()]
		want = append(want, path+" "+kind)
	})
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("the schema has\n%s\nthe configuration has\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// keysOf lists the properties of a schema with their types, all the way down.
func keysOf(t *testing.T, root, node map[string]any, path string, into *[]string) {
	if node["additionalProperties"] != false {
		t.Errorf("%s allows other keys", path)
	}
	for name, value := range node["properties"].(map[string]any) {
		property := resolve(root, value.(map[string]any))
		kind, _ := property["type"].(string)
		*into = append(*into, path+"."+name+" "+kind)
		switch items, list := property["items"].(map[string]any); {
		case list && resolve(root, items)["properties"] != nil:
			keysOf(t, root, resolve(root, items), path+"."+name, into)
		case property["properties"] != nil:
			keysOf(t, root, property, path+"."+name, into)
		}
	}
}

func resolve(root, node map[string]any) map[string]any {
	ref, ok := node["$ref"].(string)
	if !ok {
		return node
	}
	defs := root["$defs"].(map[string]any)
	return defs[strings.TrimPrefix(ref, "#/$defs/")].(map[string]any)
}

// TestSchemaEnums gives each enumerated value of the schema to the reader, and one that is not there.
func TestSchemaEnums(t *testing.T) {
	data, err := os.ReadFile("underbond.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	var root struct {
		Properties map[string]struct {
			Properties map[string]struct{ Enum []string }
		}
		Defs struct {
			Folder struct {
				Properties map[string]struct{ Enum []string }
			}
		} `json:"$defs"`
	}
	if err := json.Unmarshal(data, &root); err != nil {
		t.Fatal(err)
	}
	folder := func(extra string) string {
		return "folders: [{name: a, path: /srv/a, " + extra + "}]\n"
	}
	exports := folder("instrument: A, zone: UTC")
	cases := map[string]struct {
		enum []string
		text func(value string) string
	}{
		"log.level":  {root.Properties["log"].Properties["level"].Enum, func(v string) string { return exports + "log: {level: " + v + "}\n" }},
		"log.format": {root.Properties["log"].Properties["format"].Enum, func(v string) string { return exports + "log: {format: " + v + "}\n" }},
		"holds": {root.Defs.Folder.Properties["holds"].Enum, func(v string) string {
			if v == "documents" {
				return folder("holds: documents")
			}
			return folder("instrument: A, zone: UTC, holds: " + v)
		}},
		"format": {root.Defs.Folder.Properties["format"].Enum, func(v string) string {
			if v == "delimited" {
				return folder("instrument: A, zone: UTC, format: delimited, profile: p")
			}
			return folder("instrument: A, zone: UTC, format: " + v)
		}},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			if len(c.enum) < 2 {
				t.Fatalf("enum %q", c.enum)
			}
			for _, value := range c.enum {
				if _, err := Parse("underbond.yaml", []byte(c.text(value))); err != nil {
					t.Error(err)
				}
			}
			if _, err := Parse("underbond.yaml", []byte(c.text("other"))); err == nil {
				t.Error("another value is taken")
			}
		})
	}
}

func TestResolveSecrets(t *testing.T) {
	file := filepath.Join(t.TempDir(), "url")
	if err := os.WriteFile(file, []byte("postgres://from-file\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	empty := filepath.Join(t.TempDir(), "empty")
	if err := os.WriteFile(empty, []byte(" \n"), 0o600); err != nil {
		t.Fatal(err)
	}
	both := map[string]string{"UNDERBOND_DATABASE_URL": "postgres://from-environment", "UNDERBOND_MIGRATE_URL": "postgres://owner"}
	cases := map[string]struct {
		database     Database
		env          map[string]string
		url, migrate string
		fails        bool
	}{
		"nothing: private":             {},
		"environment":                  {env: both, url: "postgres://from-environment", migrate: "postgres://owner"},
		"given wins":                   {database: Database{URL: "postgres://given"}, env: both, url: "postgres://given", migrate: "postgres://owner"},
		"file":                         {database: Database{URLFile: file}, url: "postgres://from-file", migrate: "postgres://from-file"},
		"given login for migration":    {database: Database{URL: "postgres://a", MigrateURL: "postgres://b"}, env: both, url: "postgres://a", migrate: "postgres://b"},
		"file that is empty":           {database: Database{URLFile: empty}, env: both, fails: true},
		"file that does not lie there": {database: Database{URLFile: file + "x"}, env: both, fails: true},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			conf := &Config{Database: c.database}
			err := conf.ResolveSecrets(func(key string) string { return c.env[key] })
			if (err != nil) != c.fails {
				t.Fatalf("error %v", err)
			}
			if c.fails {
				return
			}
			if conf.Database.URL != c.url || conf.Database.MigrateURL != c.migrate || conf.Private() != (c.url == "") {
				t.Errorf("url %q, migrate %q, private %v", conf.Database.URL, conf.Database.MigrateURL, conf.Private())
			}
		})
	}
}
