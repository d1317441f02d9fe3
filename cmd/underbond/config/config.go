// Package config reads underbond.yaml: where exports arrive, where the archive and the
// database are, and what the daemon listens on. It is read at start only.
package config

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"underbond/parsers/located"
)

// Config is a checked configuration; paths are absolute, defaults are filled in.
type Config struct {
	Kind     string   `yaml:"kind"` // "configuration", optional
	Folders  []Folder `yaml:"folders"`
	Data     string   `yaml:"data"`
	Archive  string   `yaml:"archive"`
	Database Database `yaml:"database"`
	HTTP     HTTP     `yaml:"http"`
	Log      Log      `yaml:"log"`
	Watch    Watch    `yaml:"watch"`
	Batches  Batches  `yaml:"batches"`

	// Hash identifies the file's content; it stands in the ledger beside the service's name.
	Hash string `yaml:"-"`
}

// Folder is one watched folder.
type Folder struct {
	Name       string   `yaml:"name"`
	Path       string   `yaml:"path"`
	Holds      string   `yaml:"holds"`      // "exports" (default) or "documents"
	Instrument string   `yaml:"instrument"` // of exports
	Format     string   `yaml:"format"`     // "auto" (default), "jcamp-dx", "mzml" or "delimited"
	Profile    string   `yaml:"profile"`    // of delimited exports; empty: found by content
	Method     string   `yaml:"method"`     // method that the exports are for, if always the same
	Zone       string   `yaml:"zone"`       // time zone of the instrument PC, such as "Europe/Berlin"
	Encoding   string   `yaml:"encoding"`   // code page of text that does not say its own
	Include    []string `yaml:"include"`
	Ignore     []string `yaml:"ignore"`
	Marker     string   `yaml:"marker"` // a file that must lie in the folder, or it counts as offline

	Location *time.Location `yaml:"-"`
}

// Database says where the record is kept. Without a URL the daemon runs a private
// server in the data folder.
type Database struct {
	URL        string `yaml:"url"`
	URLFile    string `yaml:"url_file"`    // file that holds the URL, so that no secret is in the configuration
	MigrateURL string `yaml:"migrate_url"` // login for migrate; the URL when absent
	RolePrefix string `yaml:"role_prefix"`
	Binaries   string `yaml:"binaries"` // folder with the private server's programs
	Account    string `yaml:"account"`  // account that runs the private server when the daemon is root
}

// HTTP is the daemon's door for health checks.
type HTTP struct {
	Address string `yaml:"address"` // host:port; "off" for none
}

// Log says how much is logged and in which form.
type Log struct {
	Level  string `yaml:"level"`  // debug, info, warn or error
	Format string `yaml:"format"` // json or console
}

// Watch says when a file counts as complete.
type Watch struct {
	Quiet           string `yaml:"quiet"`
	IncompleteAfter string `yaml:"incomplete_after"`
	ScanEvery       string `yaml:"scan_every"`
	RehashEvery     string `yaml:"rehash_every"`
	PollOnly        bool   `yaml:"poll_only"`

	Times WatchTimes `yaml:"-"`
}

// WatchTimes are the durations of Watch.
type WatchTimes struct{ Quiet, IncompleteAfter, ScanEvery, RehashEvery time.Duration }

// Batches says when a batch counts as closed without being complete.
type Batches struct {
	CloseAfter string `yaml:"close_after"`

	CloseTime time.Duration `yaml:"-"`
}

// Private tells whether the daemon runs its own Postgres.
func (c *Config) Private() bool { return c.Database.URL == "" }

// Load reads and checks a configuration file. The error lists all faults with file,
// line and column.
func Load(path string) (*Config, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read the configuration: %w", err)
	}
	return Parse(path, data)
}

// Parse checks the content of a configuration file; relative paths start at its folder.
func Parse(file string, data []byte) (*Config, error) {
	c := &Config{}
	doc := located.Decode(file, data, c)
	if len(doc.Faults) > 0 {
		return nil, doc.Err()
	}
	base, err := filepath.Abs(filepath.Dir(file))
	if err != nil {
		return nil, fmt.Errorf("find the folder of %s: %w", file, err)
	}
	k := checker{Document: doc, config: c, base: base}
	k.check()
	if err := doc.Err(); err != nil {
		return nil, err
	}
	sum := sha256.Sum256(data)
	c.Hash = hex.EncodeToString(sum[:])
	return c, nil
}

// ResolveSecrets reads what the configuration keeps in files of its own. The
// environment variable UNDERBOND_DATABASE_URL stands in for a URL that is not given.
func (c *Config) ResolveSecrets(getenv func(string) string) error {
	if c.Database.URLFile != "" {
		text, err := os.ReadFile(c.Database.URLFile)
		if err != nil {
			return fmt.Errorf("read database.url_file: %w", err)
		}
		c.Database.URL = trim(string(text))
		if c.Database.URL == "" {
			return fmt.Errorf("read database.url_file: %s is empty", c.Database.URLFile)
		}
	}
	if c.Database.URL == "" {
		c.Database.URL = getenv("UNDERBOND_DATABASE_URL")
	}
	if c.Database.MigrateURL == "" {
		c.Database.MigrateURL = getenv("UNDERBOND_MIGRATE_URL")
	}
	if c.Database.MigrateURL == "" {
		c.Database.MigrateURL = c.Database.URL
	}
	return nil
}
