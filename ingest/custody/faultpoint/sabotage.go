//go:build sabotage

package faultpoint

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Environment variables that steer a sabotaged build.
const (
	// EnvKillAt holds n: the process kills itself at its n-th durable operation, counted from 1.
	EnvKillAt = "UNDERBOND_KILL_AT"
	// EnvKillOp, when set, is the name of the only operations that are counted.
	EnvKillOp = "UNDERBOND_KILL_OP"
	// EnvKillPhase is "before" (default) or "after": on which side of the operation.
	EnvKillPhase = "UNDERBOND_KILL_PHASE"
	// EnvCountFile names a file that always holds "count name" of the last operation begun.
	EnvCountFile = "UNDERBOND_COUNT_FILE"
	// EnvPanicOn is "point@name": the process panics when it reaches that point with that name.
	EnvPanicOn = "UNDERBOND_PANIC_ON"
	// EnvCrashOn is "point@name": the process kills itself there.
	EnvCrashOn = "UNDERBOND_CRASH_ON"
	// EnvHoldDir is a folder. Whoever reaches a point for which it has a file "point@name.1",
	// or else .2 and so on, adds ".held" to its name and waits until it is gone.
	EnvHoldDir = "UNDERBOND_HOLD_DIR"
	// EnvSabotage is a comma-separated list of protections to switch off.
	EnvSabotage = "UNDERBOND_SABOTAGE"
)

// Protections is the registry of everything that can be switched off, with
// what it guards against. A package that asks Off for a new name adds it here;
// an unknown name, in the environment or in code, aborts.
var Protections = map[string]string{
	"dir-sync":        "a power cut forgets the name of a file whose bytes were synced",
	"file-sync":       "a power cut leaves a named file without its bytes",
	"journal-sync":    "a power cut forgets an acknowledged arrival",
	"changed-check":   "a file that changes while it is copied is taken as a mixture",
	"content-address": "the same bytes are kept twice",
	"quiet-period":    "a file is taken in a pause of its writer",
	"end-proof":       "a file without its end mark is taken as complete",
	"nul-check":       "a preallocated file is taken before its content is written",
	"rehash":          "a changed file with its old size and time is never noticed",
	"duplicate-key":   "a repeated write records an acquisition twice",
	"commit-outcome":  "a commit whose answer was lost counts as failed without a look",

	"journal-before-ack": "an arrival is acknowledged that a crash forgets",
	"attempt-count":      "a file that ends the process each time stops all others for ever",
	"claim-fence":        "a reader whose claim was taken over still writes what it decided",
	"withdraw-on-change": "readers keep a value whose evidence has changed",
	"evaluation-version": "an evaluation of what the batch no longer is gets written",
}

// Op is one durable operation that has begun.
type Op struct{ number int64 }

var sabotage = load()

type plan struct {
	mu     sync.Mutex
	count  int64
	killAt int64
	op     string
	after  bool
	off    map[string]bool
	file   *os.File
	panic  string
	crash  string
	hold   string
}

func load() *plan {
	p := &plan{off: map[string]bool{}, op: os.Getenv(EnvKillOp), panic: os.Getenv(EnvPanicOn), crash: os.Getenv(EnvCrashOn), hold: os.Getenv(EnvHoldDir)}
	if s := os.Getenv(EnvKillAt); s != "" {
		n, err := strconv.ParseInt(s, 10, 64)
		if err != nil || n < 1 {
			abort("%s=%q is not a number from 1", EnvKillAt, s)
		}
		p.killAt = n
	}
	switch s := os.Getenv(EnvKillPhase); s {
	case "", "before":
	case "after":
		p.after = true
	default:
		abort("%s=%q is neither before nor after", EnvKillPhase, s)
	}
	for name := range strings.SplitSeq(os.Getenv(EnvSabotage), ",") {
		if name = strings.TrimSpace(name); name == "" {
			continue
		}
		if _, ok := Protections[name]; !ok {
			abort("%s names the unknown protection %q", EnvSabotage, name)
		}
		p.off[name] = true
	}
	if path := os.Getenv(EnvCountFile); path != "" {
		f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o600)
		if err != nil {
			abort("open the count file: %v", err)
		}
		p.file = f
	}
	return p
}

func abort(format string, args ...any) {
	fmt.Fprintf(os.Stderr, "faultpoint: "+format+"\n", args...)
	os.Exit(3)
}

// Before marks the start of a durable operation: it counts it and, where the
// plan says so, kills the process before the operation is done.
func Before(name string) Op {
	p := sabotage
	if p.op != "" && p.op != name {
		return Op{}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.count++
	if p.file != nil {
		if _, err := p.file.WriteAt(fmt.Appendf(nil, "%d %-40s\n", p.count, name), 0); err != nil {
			abort("write the count file: %v", err)
		}
	}
	if !p.after && p.count == p.killAt {
		kill()
	}
	return Op{number: p.count}
}

// After marks the successful or failed end of the operation and, where the plan
// says so, kills the process before anything can be done with the outcome.
func (o Op) After() {
	if sabotage.after && o.number > 0 && o.number == sabotage.killAt {
		kill()
	}
}

// Hit marks a single point, such as a database write, as one durable operation.
// Both phases kill at it.
func Hit(name string) { Before(name).After() }

// Reach marks a place that a test may want the program to die at, or to wait at.
func Reach(point, name string) {
	place := point + "@" + name
	switch place {
	case sabotage.panic:
		panic("sabotaged at " + place)
	case sabotage.crash:
		kill()
	}
	if sabotage.hold == "" {
		return
	}
	for n := range 9 {
		file := filepath.Join(sabotage.hold, fmt.Sprintf("%s.%d", place, n+1))
		held := file + ".held"
		if os.Rename(file, held) != nil {
			continue
		}
		for err := error(nil); err == nil; _, err = os.Lstat(held) {
			time.Sleep(5 * time.Millisecond)
		}
		return
	}
}

// Off says whether the named protection is switched off.
func Off(name string) bool {
	if _, ok := Protections[name]; !ok {
		abort("the protection %q is not in the registry", name)
	}
	return sabotage.off[name]
}

// kill ends the process as a power switch would: no deferred call, no flush.
func kill() {
	self, err := os.FindProcess(os.Getpid())
	if err == nil {
		err = self.Kill()
	}
	if err != nil {
		abort("kill the own process: %v", err)
	}
	select {}
}
