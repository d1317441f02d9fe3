package config

import (
	"fmt"
	"net"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/text/encoding/htmlindex"

	"underbond/parsers"
	"underbond/parsers/located"
)

// checker looks for faults that the form of the file does not show, and fills in defaults.
type checker struct {
	*located.Document
	config *Config
	base   string
}

// prefixForm is what database role names may begin with.
var prefixForm = regexp.MustCompile(`^[a-z][a-z0-9_]{0,40}$`)

func (k *checker) check() {
	c := k.config
	if k.Has("kind") && c.Kind != "configuration" {
		k.Fault("kind", "", "kind is %q, not configuration", c.Kind)
	}
	if len(c.Folders) == 0 {
		k.Fault("folders", "list at least one folder with name, path and instrument", "no watched folders")
	}
	names, paths := map[string]int{}, map[string]int{}
	for i := range c.Folders {
		k.folder(i, names, paths)
	}
	k.path("data", &c.Data, "underbond-data")
	k.path("archive", &c.Archive, filepath.Join(c.Data, "archive"))
	k.inside()
	if k.Has("database.url") && k.Has("database.url_file") {
		k.Fault("database.url_file", "keep one of the two", "database.url and database.url_file are both given")
	}
	k.optionalPath(&c.Database.URLFile)
	k.optionalPath(&c.Database.Binaries)
	fill(&c.Database.RolePrefix, "underbond")
	if !prefixForm.MatchString(c.Database.RolePrefix) {
		k.Fault("database.role_prefix", "use lower-case letters, digits and _, starting with a letter", "database.role_prefix is %q", c.Database.RolePrefix)
	}
	k.http()
	fill(&c.Log.Level, "info")
	fill(&c.Log.Format, "json")
	k.oneOf("log.level", c.Log.Level, "debug", "info", "warn", "error")
	k.oneOf("log.format", c.Log.Format, "json", "console")
	k.duration("watch.quiet", c.Watch.Quiet, 10*time.Second, &c.Watch.Times.Quiet)
	k.duration("watch.incomplete_after", c.Watch.IncompleteAfter, 2*time.Hour, &c.Watch.Times.IncompleteAfter)
	k.duration("watch.scan_every", c.Watch.ScanEvery, 30*time.Second, &c.Watch.Times.ScanEvery)
	k.duration("watch.rehash_every", c.Watch.RehashEvery, 24*time.Hour, &c.Watch.Times.RehashEvery)
	k.duration("batches.close_after", c.Batches.CloseAfter, 72*time.Hour, &c.Batches.CloseTime)
	if c.Watch.Times.IncompleteAfter < c.Watch.Times.Quiet {
		k.Fault("watch.incomplete_after", "a file that is not complete must be given more time than one that is", "watch.incomplete_after %s is shorter than watch.quiet %s",
			c.Watch.Times.IncompleteAfter, c.Watch.Times.Quiet)
	}
}

func (k *checker) folder(i int, names, paths map[string]int) {
	f := &k.config.Folders[i]
	at := func(key string) string { return fmt.Sprintf("folders[%d].%s", i, key) }
	switch other, seen := names[f.Name]; {
	case f.Name == "":
		k.Fault(at("name"), "give the folder a short name; it is kept with every file", "folder %d has no name", i+1)
	case !located.IsName(f.Name):
		k.Fault(at("name"), located.NameHint, "folder name is %q", f.Name)
	case seen:
		k.Fault(at("name"), "", "folder name %q is that of folder %d too", f.Name, other+1)
	}
	names[f.Name] = i
	if f.Path == "" {
		k.Fault(at("path"), "", "folder %d has no path", i+1)
	} else {
		k.optionalPath(&f.Path)
		if other, seen := paths[f.Path]; seen {
			k.Fault(at("path"), "", "path %s is that of folder %d too", f.Path, other+1)
		}
		paths[f.Path] = i
	}
	fill(&f.Holds, "exports")
	fill(&f.Format, "auto")
	k.oneOf(at("holds"), f.Holds, "exports", "documents")
	k.oneOf(at("format"), f.Format, "auto", parsers.FormatJCAMPDX, parsers.FormatMzML, parsers.FormatDelimited)
	switch {
	case f.Holds == "exports" && f.Instrument == "":
		k.Fault(at("instrument"), "name the instrument that exports into this folder, or say holds: documents", "folder %d has no instrument", i+1)
	case f.Holds == "documents" && f.Instrument != "":
		k.Fault(at("instrument"), "leave it out", "a folder for documents has no instrument")
	}
	if f.Profile != "" && f.Format != parsers.FormatDelimited {
		k.Fault(at("profile"), "add format: delimited", "profile %q belongs to a delimited export, format is %q", f.Profile, f.Format)
	}
	if f.Format == parsers.FormatDelimited && f.Profile == "" {
		k.Fault(at("format"), "add profile: NAME, or use format: auto to find the profile by content", "format delimited needs a profile")
	}
	k.zone(at("zone"), i)
	if f.Encoding != "" {
		if _, err := htmlindex.Get(f.Encoding); err != nil {
			k.Fault(at("encoding"), "for example utf-8, windows-1252 or iso-8859-1", "encoding is %q", f.Encoding)
		}
	}
	for key, patterns := range map[string][]string{"include": f.Include, "ignore": f.Ignore} {
		for j, pattern := range patterns {
			if _, err := path.Match(pattern, ""); err != nil {
				k.Fault(fmt.Sprintf("%s[%d]", at(key), j), "* stands for any text, ? for one character", "pattern %q cannot be read", pattern)
			}
		}
	}
}

func (k *checker) zone(at string, i int) {
	f := &k.config.Folders[i]
	if f.Holds == "documents" && f.Zone == "" {
		f.Location = time.UTC
		return
	}
	if f.Zone == "" {
		k.Fault(at, "give the zone that the instrument PC's clock shows, such as Europe/Berlin or UTC", "folder %d has no zone", i+1)
		return
	}
	zone, err := time.LoadLocation(f.Zone)
	if err != nil || f.Zone == "Local" {
		k.Fault(at, "use a name of the time zone database, such as Europe/Berlin", "zone is %q", f.Zone)
		return
	}
	f.Location = zone
}

// inside refuses an archive or data folder within a watched folder: what we write would
// be taken for exports.
func (k *checker) inside() {
	for i, f := range k.config.Folders {
		for key, own := range map[string]string{"data": k.config.Data, "archive": k.config.Archive} {
			if within(own, f.Path) || within(f.Path, own) && key == "archive" {
				k.Fault(fmt.Sprintf("folders[%d].path", i), "choose folders apart from each other", "watched folder %s and the %s folder %s lie in one another", f.Path, key, own)
			}
		}
	}
}

func within(inner, outer string) bool {
	if inner == "" || outer == "" {
		return false
	}
	rel, err := filepath.Rel(outer, inner)
	return err == nil && filepath.IsLocal(rel)
}

func (k *checker) http() {
	h := &k.config.HTTP
	fill(&h.Address, "127.0.0.1:8470")
	if h.Address == "off" {
		return
	}
	host, port, err := net.SplitHostPort(h.Address)
	if n, bad := strconv.Atoi(port); err != nil || bad != nil || n < 0 || n > 65535 {
		k.Fault("http.address", `write host:port, such as 127.0.0.1:8470, or "off"`, "http.address is %q", h.Address)
		return
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		k.Fault("http.address", "use 127.0.0.1, and a reverse proxy with TLS for other machines", "http.address %q can be reached from other machines, and the connection would not be encrypted", h.Address)
	}
}

func (k *checker) path(key string, value *string, def string) {
	fill(value, def)
	k.optionalPath(value)
}

func (k *checker) optionalPath(value *string) {
	if *value != "" && !filepath.IsAbs(*value) {
		*value = filepath.Join(k.base, *value)
	}
	if *value != "" {
		*value = filepath.Clean(*value)
	}
}

func (k *checker) duration(at, text string, def time.Duration, into *time.Duration) {
	*into = def
	if text == "" {
		return
	}
	d, err := time.ParseDuration(text)
	if err != nil || d <= 0 {
		k.Fault(at, "write a number with a unit: 500ms, 10s, 5m, 2h", "%s is %q", at, text)
		return
	}
	*into = d
}

func (k *checker) oneOf(at, value string, allowed ...string) {
	if !slices.Contains(allowed, value) {
		k.Fault(at, located.Hint(value, allowed), "%s is %q", at, value)
	}
}

func fill(value *string, def string) {
	if *value == "" {
		*value = def
	}
}

func trim(text string) string { return strings.TrimSpace(text) }
