package fault

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// undisturbed is the dump of a run in which nothing goes wrong, and how many durable
// operations it took; made once a test process.
var undisturbed struct {
	once       sync.Once
	dump       []string
	operations int
}

// reference gives the dump that every disturbed run must come to.
func reference(t testing.TB) []string {
	t.Helper()
	program(t, true)
	undisturbed.once.Do(func() {
		l := quickLab(t)
		count := filepath.Join(l.dir, "count")
		l.play("UNDERBOND_COUNT_FILE=" + count)
		l.check(nil)
		text, err := os.ReadFile(count)
		if err != nil {
			t.Fatal(err)
		}
		number, _, _ := strings.Cut(string(text), " ")
		if undisturbed.operations, err = strconv.Atoi(number); err != nil {
			t.Fatal(err)
		}
		undisturbed.dump = l.dump()
	})
	if undisturbed.dump == nil {
		t.Fatal("the undisturbed run failed")
	}
	return undisturbed.dump
}

// check reports every breach of the conservation law and every difference from the dump wanted.
func (l *lab) check(want []string) {
	l.t.Helper()
	for _, breach := range l.breaches(want) {
		l.t.Error(breach)
	}
}

// breaches lists what an audit and a comparison with the dump wanted find.
func (l *lab) breaches(want []string) []string {
	l.t.Helper()
	list := l.audit()
	if want == nil {
		return list
	}
	if text := difference(want, l.dump()); text != "" {
		list = append(list, "the record differs from that of an undisturbed run:\n"+text)
	}
	return list
}

// seed starts the random choices of one test and is printed, so that a failure can be repeated.
func seed(t testing.TB) *rand.Rand {
	t.Helper()
	n := uint64(time.Now().UnixNano())
	if text := os.Getenv("UNDERBOND_FAULT_SEED"); text != "" {
		var err error
		if n, err = strconv.ParseUint(text, 10, 64); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("UNDERBOND_FAULT_SEED=%d", n)
	return rand.New(rand.NewPCG(n, 0))
}

// points chooses at which operations and in which phase to kill: all of them when
// UNDERBOND_FULL_SWEEP is 1, else a sample spread evenly from a random start.
func points(t testing.TB, operations, sample int) (list []string) {
	if os.Getenv("UNDERBOND_FULL_SWEEP") == "1" {
		for n := 1; n <= operations; n++ {
			list = append(list, fmt.Sprint(n, " before"), fmt.Sprint(n, " after"))
		}
		return list
	}
	random := seed(t)
	phase := []string{" before", " after"}
	step := float64(operations) / float64(sample)
	start := random.Float64() * step
	for i := range sample {
		list = append(list, fmt.Sprint(1+int(start+float64(i)*step), phase[random.IntN(2)]))
	}
	return list
}

// TestKilledAtEveryOperation kills the daemon around its n-th durable operation, in
// custody or on the way to the database, and starts it again. Whatever n, it must come to
// the record of an undisturbed run.
func TestKilledAtEveryOperation(t *testing.T) {
	t.Parallel()
	want := reference(t)
	list := points(t, undisturbed.operations, 40)
	t.Logf("%d durable operations, %d kills", undisturbed.operations, len(list))
	for _, point := range list {
		t.Run(point, func(t *testing.T) {
			t.Parallel()
			n, phase, _ := strings.Cut(point, " ")
			l := quickLab(t)
			l.play("UNDERBOND_KILL_AT="+n, "UNDERBOND_KILL_PHASE="+phase)
			if l.deaths > 1 {
				t.Errorf("it died %d times", l.deaths)
			}
			l.check(want)
		})
	}
}

// TestKilledFromOutside kills the daemon at twenty random moments of one long run.
func TestKilledFromOutside(t *testing.T) {
	t.Parallel()
	want := reference(t)
	random := seed(t)
	const kills = 20
	l := quickLab(t)
	list := phases(t)
	for i, phase := range list {
		l.drop(phase)
		for range kills/len(list) + 1 {
			l.start()
			// The moment is the fault, not a wait for something.
			<-time.After(time.Duration(random.Int64N(int64(700 * time.Millisecond))))
			l.daemon.kill()
		}
		if l.start(); i < len(list)-1 {
			l.rest()
			l.daemon.kill()
		}
	}
	l.rest()
	l.stop()
	l.check(want)
}
