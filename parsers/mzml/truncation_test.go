package mzml

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"

	"underbond/parsers"

	"go.uber.org/goleak"
)

// Every file of the corpus, and one in UTF-16, cut at 200 places all over it: each part
// is refused, or nothing but white space is missing and all calls are the same.
func TestTruncationCorpus(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(corpus(t), "dev", "*"))
	if err != nil {
		t.Fatal(err)
	}
	contents := map[string][]byte{
		"in UTF-16": []byte(wide("\ufeff" + strings.Replace(oneSpectrum(mzArray(1, 2, 3), intensityArray(4, 5, 6)), "UTF-8", "UTF-16", 1))),
	}
	for _, path := range files {
		if contents[filepath.Base(path)], err = os.ReadFile(path); err != nil {
			t.Fatal(err)
		}
	}
	places := 200
	if testing.Short() {
		places = 12
	}
	for name, content := range contents {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			whole, _, err := read(content, parsers.Limits{})
			if err != nil {
				whole = nil
			}
			rng := rand.New(rand.NewPCG(3, uint64(len(content))))
			for i := range places {
				at := len(content) - 1 - i // the last bytes, and places anywhere
				if i >= places/10 || at < 0 {
					at = rng.IntN(max(1, len(content)))
				}
				if at >= len(content) {
					continue
				}
				part := content[:at]
				var sink tap
				_, err := Reader{}.Read(context.Background(), bytes.NewReader(part), parsers.Options{}, &sink)
				var refusal *parsers.Refusal
				switch {
				case errors.As(err, &refusal):
					continue
				case err != nil:
					t.Errorf("cut at byte %d of %d: %v is no refusal", at, len(content), err)
				case whole == nil:
					t.Errorf("cut at byte %d of %d is read although the whole is refused", at, len(content))
				default:
					got, _, _ := read(part, parsers.Limits{})
					if !reflect.DeepEqual(texts(got), texts(whole)) || len(bytes.Trim(content[at:], " \t\r\n\x00")) > 0 {
						t.Errorf("cut at byte %d of %d: read as whole", at, len(content))
					}
				}
			}
		})
	}
}

func texts(c *collected) []string {
	list := []string{fmt.Sprintf("%+v", *c.header)}
	for _, s := range c.spectra {
		list = append(list, fmt.Sprintf("%+v", s))
	}
	for _, s := range c.traces {
		list = append(list, fmt.Sprintf("%+v", s))
	}
	return list
}

// The sink has the same calls and the caller the same problems with one processor and
// with several, also when the content is refused on the way.
func TestSameOnAnyProcessors(t *testing.T) {
	run := func(spectra int, end string) string {
		var list []string
		for i := range spectra {
			y := intensityArray(1, 2, 3)
			if i%7 == 0 {
				y = rawArray("", "<binary>AAAA*</binary>", f32, plain, "MS:1000515")
			}
			pad := "<!--" + strings.Repeat(" ", 40) + "-->"
			list = append(list, spectrumElement(i, 3, pad+"text", arrayElement(squeeze(packF64(1, float64(i), 3)), f64, deflate, "MS:1000514"), y,
				arrayElement(make([]byte, 4000), f32, plain, "MS:1000517")))
		}
		return strings.Replace(document(spectrumList(list...)), "</run>", end, 1)
	}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	for name, content := range map[string]string{"whole": run(600, "</run>"), "refused": run(600, "</ruin>"), "small": run(3, "</run>")} {
		t.Run(name, func(t *testing.T) {
			var first string
			for _, n := range []int{1, 2, 5} {
				runtime.GOMAXPROCS(n)
				c, problems, err := read([]byte(content), parsers.Limits{})
				calls := fmt.Sprint(texts(c), problems, err)
				if n == 1 {
					first = calls
				} else if calls != first {
					t.Errorf("%d processors: other calls", n)
				}
				if (err == nil) != (name != "refused") || len(c.spectra) == 0 {
					t.Errorf("%d spectra, %v", len(c.spectra), err)
				}
			}
		})
	}
}

// No goroutine outlives a call, whichever way it ends.
func TestNoGoroutineIsLeft(t *testing.T) {
	var content bytes.Buffer
	if _, err := content.ReadFrom(newGenerated(3<<20, 500)); err != nil {
		t.Fatal(err)
	}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(4))
	boom := errors.New("full")
	ctx, cancel := context.WithCancel(context.Background())
	before := goleak.IgnoreCurrent()
	for name, read := range map[string]func() error{
		"to the end": func() error {
			_, err := Reader{}.Read(context.Background(), bytes.NewReader(content.Bytes()), parsers.Options{}, &tap{})
			return err
		},
		"cut": func() error {
			_, err := Reader{}.Read(context.Background(), bytes.NewReader(content.Bytes()[:content.Len()/2]), parsers.Options{}, &tap{})
			return err
		},
		"sink fails": func() error {
			_, err := Reader{}.Read(context.Background(), bytes.NewReader(content.Bytes()), parsers.Options{}, &collected{fail: boom})
			return err
		},
		"cancelled": func() error {
			sink := &tap{each: cancel}
			_, err := Reader{}.Read(ctx, bytes.NewReader(content.Bytes()), parsers.Options{}, sink)
			return err
		},
		"sink panics": func() (err error) {
			defer func() { err = fmt.Errorf("panic: %v", recover()) }()
			_, err = Reader{}.Read(context.Background(), bytes.NewReader(content.Bytes()), parsers.Options{}, &tap{each: func() { panic("no") }})
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			if err := read(); (err == nil) != (name == "to the end") {
				t.Errorf("got %v", err)
			}
		})
	}
	if err := goleak.Find(before); err != nil { // it waits for goroutines that are on their way out
		t.Error(err)
	}
}

// A panic beside the scanner comes out of Read, where the caller can take it up.
func TestPanicBesideTheScanner(t *testing.T) {
	b := &batch{items: []*item{nil}, n: 1}
	p := &pipeline{jobs: make(chan *batch, 1), filling: b}
	p.workers.Go(p.work)
	defer p.close()
	p.start()
	defer func() {
		if recover() == nil {
			t.Error("the panic is lost")
		}
	}()
	p.oldest()
}
