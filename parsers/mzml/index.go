package mzml

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"

	"underbond/parsers"
)

// ErrNoRandomAccess is the error of OpenIndex for content that can only be read from its
// start: compressed, or in UTF-16.
var ErrNoRandomAccess = errors.New("no random access")

// Entry is one spectrum or chromatogram of an index.
type Entry struct {
	ID     string
	Offset int64 // of its start tag, in bytes
}

// Index gives single spectra and chromatograms of a file. It is safe for use by several
// goroutines when the ReaderAt is.
type Index struct {
	r       io.ReaderAt
	size    int64
	opt     parsers.Options
	head    *headOf
	entries [2][]Entry // spectra, chromatograms
	byID    [2]map[string]int
	rebuilt string
}

// OpenIndex reads the header and the index of a file. The file's own index is used when
// it proves right: at each offset begins the element with that id and number, the offsets
// rise, and the list ends after the last. Otherwise the index is built again from the
// elements, in one pass that decodes no array; Rebuilt then says why.
//
// Content that cannot be trusted is a *parsers.Refusal as from Read. An index that
// proves right spares reading the rest: what is damaged elsewhere is not found.
func OpenIndex(ctx context.Context, r io.ReaderAt, size int64, opt parsers.Options) (*Index, error) {
	x := &Index{r: r, size: size, opt: opt}
	var err error
	if x.head, err = readHead(ctx, io.NewSectionReader(r, 0, size), opt); err != nil {
		return nil, err
	}
	stated, why := x.stated(ctx)
	if why == "" {
		why = x.verify(ctx, stated)
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("open the mzML index: %w", err)
	}
	x.entries = stated
	if why != "" {
		x.rebuilt = why
		if x.entries, err = x.build(ctx); err != nil {
			return nil, err
		}
	}
	for list := range x.entries {
		x.byID[list] = make(map[string]int)
		for i, e := range x.entries[list] {
			if _, twice := x.byID[list][e.ID]; !twice {
				x.byID[list][e.ID] = i
			}
		}
	}
	return x, nil
}

// Header is what the acquisition says of itself.
func (x *Index) Header() parsers.Header { return x.head.header }

// Rebuilt says why the file's own index was not used, and "" when it was.
func (x *Index) Rebuilt() string { return x.rebuilt }

// Spectra lists the spectra in file order. The list must not be changed.
func (x *Index) Spectra() []Entry { return x.entries[0] }

// Chromatograms lists the chromatograms in file order. The list must not be changed.
func (x *Index) Chromatograms() []Entry { return x.entries[1] }

// FindSpectrum gives the number of the first spectrum with an id.
func (x *Index) FindSpectrum(id string) (index int, found bool) {
	index, found = x.byID[0][id]
	return index, found
}

// FindChromatogram gives the number of the first chromatogram with an id.
func (x *Index) FindChromatogram(id string) (index int, found bool) {
	index, found = x.byID[1][id]
	return index, found
}

// Spectrum reads one spectrum by its number, from 0, with the problems that concern it.
// Their places have no line.
func (x *Index) Spectrum(ctx context.Context, index int) (*parsers.Spectrum, []parsers.Problem, error) {
	signal, problems, err := x.signal(ctx, 0, index)
	if err != nil {
		return nil, nil, fmt.Errorf("read spectrum %d: %w", index, err)
	}
	return signal.(*parsers.Spectrum), problems, nil
}

// Chromatogram reads one chromatogram by its number, from 0, as Spectrum does.
func (x *Index) Chromatogram(ctx context.Context, index int) (*parsers.Chromatogram, []parsers.Problem, error) {
	signal, problems, err := x.signal(ctx, 1, index)
	if err != nil {
		return nil, nil, fmt.Errorf("read chromatogram %d: %w", index, err)
	}
	return signal.(*parsers.Chromatogram), problems, nil
}

func (x *Index) signal(ctx context.Context, list, index int) (parsers.Signal, []parsers.Problem, error) {
	if index < 0 || index >= len(x.entries[list]) {
		return nil, nil, fmt.Errorf("there are %d", len(x.entries[list]))
	}
	r := x.fragment(ctx, x.entries[list][index].Offset, list)
	if id, err := r.element(listed[list]); err != nil {
		return nil, nil, err
	} else if id != x.entries[list][index].ID {
		return nil, nil, fmt.Errorf("at byte %d is now %q", x.entries[list][index].Offset, id)
	}
	it := &item{}
	it.reset()
	r.item = it
	if err := r.signal(list == 1, index); err != nil {
		return nil, nil, err
	}
	defer r.pipe.close()
	it.decode(&r.pipe.own, r.lim.InflateRatio)
	signal := it.signal()
	for _, p := range it.problems {
		r.run.add(p)
	}
	return signal, r.run.all(), nil
}

// listed are the elements of the two lists.
var listed = [2]string{"spectrum", "chromatogram"}

// headOf is what must be known of a file before one of its elements can be read.
type headOf struct {
	header parsers.Header
	groups map[string][]param
	ns     string
	// The scanner's state inside of the first list, or of the run.
	stack    []element
	names    []byte
	bindings []binding
	src      decoded // encoding only
	list     int     // the first list, or -1 when there is none
}

// errHead ends the reading of a head.
var errHead = errors.New("the header is read")

// headSink ends a reading when its header is there.
type headSink struct {
	r      *reading
	header parsers.Header
	ns     string
}

func (h *headSink) Begin(header parsers.Header) error {
	h.header, h.ns = header, h.r.ns
	return errHead
}
func (h *headSink) Signal(parsers.Signal) error { return nil }
func (h *headSink) End(parsers.Trailer) error   { return nil }

// readHead reads as far as the first list, or to the end of a run without one.
func readHead(ctx context.Context, src io.Reader, opt parsers.Options) (*headOf, error) {
	lim := opt.Limits.WithDefaults()
	d, err := newDecoded(src, lim.TotalBytes)
	if err != nil {
		return nil, fmt.Errorf("read mzML content: %w", err)
	}
	if d.packed || d.form >= formUTF16LE {
		return nil, fmt.Errorf("%w to content that is compressed or in UTF-16", ErrNoRandomAccess)
	}
	sink := &headSink{}
	r := newReading(newScanner(ctx, d, lim), lim, sink)
	sink.r = r
	defer r.pipe.close()
	if err := r.document(); !errors.Is(err, errHead) {
		return nil, err
	}
	s := r.s
	h := &headOf{header: sink.header, groups: r.groups, ns: sink.ns, list: slices.Index(r.listed[:], true)}
	h.stack = append(h.stack, s.stack...)
	h.names = append(h.names, s.names...)
	h.bindings = append(h.bindings, s.bindings...)
	h.src = decoded{encoding: d.encoding, form: d.form, table: d.table, bom: d.bom}
	return h, nil
}

// fragment makes a reading that begins at an element of a list.
func (x *Index) fragment(ctx context.Context, offset int64, list int) *reading {
	lim := x.opt.Limits.WithDefaults()
	d := x.head.decoded(io.NewSectionReader(x.r, offset, x.size-offset))
	s := newScanner(ctx, d, lim)
	s.buf = make([]byte, 16<<10)
	s.fragment, s.rootSeen = true, true
	s.base = offset - int64(len(d.bom))
	s.stack = append(s.stack, x.head.stack...)
	s.names = append(s.names, x.head.names...)
	s.bindings = append(s.bindings, x.head.bindings...)
	if x.head.list >= 0 {
		// The head ends in one of the lists, and this may be the other.
		top := s.stack[len(s.stack)-1]
		s.names = append(s.names[:top.name+top.prefix], listed[list]+"List"...)
	}
	r := newReading(s, lim, &headSink{})
	r.ns, r.groups = x.head.ns, x.head.groups
	return r
}

// element reads the start tag that the content must begin with, and gives its id.
func (r *reading) element(name string) (id string, err error) {
	kind, err := r.s.next()
	switch {
	case err != nil:
		return "", err
	case kind != tokenStart || string(r.s.local) != name || r.s.ns != r.ns || r.s.tag != 0:
		return "", r.s.fail(CodeStructure, r.s.tag, "no %s begins here", name)
	}
	return string(r.s.attr("id")), nil
}
