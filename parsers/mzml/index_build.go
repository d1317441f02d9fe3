package mzml

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
)

// indexTail is how far from the end of a file the place of its index is looked for.
const indexTail = 4 << 10

// indexMax bounds the bytes of an index, as no more than the file can need.
const indexMax = 1 << 30

// decoded makes a source of the head's encoding.
func (h *headOf) decoded(src io.Reader) *decoded {
	d := h.src
	d.in = bufio.NewReaderSize(tracked{src}, 16<<10)
	return &d
}

// stated reads the file's own index; why says what is wrong with it.
func (x *Index) stated(ctx context.Context) (list [2][]Entry, why string) {
	tail := make([]byte, min(x.size, indexTail))
	if _, err := x.r.ReadAt(tail, x.size-int64(len(tail))); err != nil && err != io.EOF {
		return list, "the end of the file cannot be read: " + err.Error()
	}
	i := bytes.LastIndex(tail, []byte("indexListOffset>"))
	if i < 0 {
		return list, "there is no index"
	}
	i = bytes.LastIndex(tail[:i], []byte("indexListOffset"))
	if i < 0 {
		return list, "the place of the index is not readable"
	}
	text := tail[i+len("indexListOffset"):]
	text = text[bytes.IndexByte(text, '>')+1:]
	text = text[:max(0, bytes.IndexByte(text, '<'))]
	offset, ok := parseCount(text)
	if !ok || int64(offset) >= x.size {
		return list, fmt.Sprintf("the index is said to be at byte %.40q of %d", trimSpace(text), x.size)
	}
	// The index stands in the root element, where the head's default namespace holds too.
	r := x.fragment(ctx, int64(offset), 0)
	r.s.stack = r.s.stack[:1]
	r.s.src.in.Reset(tracked{io.NewSectionReader(x.r, int64(offset), min(x.size-int64(offset), indexMax))})
	if _, err := r.element("indexList"); err != nil {
		return list, fmt.Sprintf("no index is at byte %d", offset)
	}
	if err := r.indexList(&list, x.size); err != nil {
		return list, "the index is damaged: " + err.Error()
	}
	return list, ""
}

// indexList reads the index.
func (r *reading) indexList(list *[2][]Entry, size int64) error {
	s := r.s
	for {
		more, err := r.child()
		if err != nil || !more {
			return err
		}
		to := -1
		for i, name := range listed {
			if string(s.local) == "index" && string(s.attr("name")) == name {
				to = i
			}
		}
		if to < 0 {
			if err := r.skip(); err != nil {
				return err
			}
			continue
		}
		for {
			more, err := r.child()
			if err != nil {
				return err
			}
			if !more {
				break
			}
			e := Entry{ID: string(s.attr("idRef"))}
			var text []byte
			for kind := tokenStart; kind != tokenEnd; {
				if kind, err = s.next(); err != nil {
					return err
				}
				if kind == tokenText {
					text = append(text, s.text...)
				}
			}
			n, ok := parseCount(text)
			if !ok || int64(n) >= size {
				return fmt.Errorf("offset %.40q of %.80q", trimSpace(text), e.ID)
			}
			e.Offset = int64(n)
			list[to] = append(list[to], e)
		}
	}
}

// verify checks an index against the elements that it names, and gives why it is not used.
func (x *Index) verify(ctx context.Context, list [2][]Entry) (why string) {
	if x.head.list >= 0 && len(list[x.head.list]) == 0 {
		return "the index does not know the first " + listed[x.head.list] + "List"
	}
	for to, entries := range list {
		before := int64(-1)
		for i, e := range entries {
			if e.Offset <= before {
				return fmt.Sprintf("%s %d %.80q does not follow the one before", listed[to], i, e.ID)
			}
			before = e.Offset
			r := x.fragment(ctx, e.Offset, to)
			id, err := r.element(listed[to])
			if err != nil {
				return fmt.Sprintf("%s %d %.80q is not at byte %d", listed[to], i, e.ID, e.Offset)
			}
			if n, ok := parseCount(r.s.attr("index")); id != e.ID || !ok || n != i {
				return fmt.Sprintf("at byte %d is %s %.80q where the index has %d %.80q", e.Offset, listed[to], id, i, e.ID)
			}
			if i == len(entries)-1 {
				why = r.verifyEnd(list)
			}
		}
		if why != "" {
			return why
		}
	}
	return ""
}

// verifyEnd checks that the element whose start tag was read last is the last of its list,
// and that the index knows the list after it.
func (r *reading) verifyEnd(list [2][]Entry) (why string) {
	if err := r.skip(); err != nil {
		return "the last element of a list is damaged"
	}
	if more, err := r.child(); err != nil || more {
		return "a list does not end where the index has it"
	}
	more, err := r.child()
	for i, name := range listed {
		if err == nil && more && string(r.s.local) == name+"List" && len(list[i]) == 0 {
			return "the index does not know the " + name + "List"
		}
	}
	if err != nil {
		return "the run does not end"
	}
	return ""
}

// build makes the index from the elements of the file.
func (x *Index) build(ctx context.Context) (list [2][]Entry, err error) {
	lim := x.opt.Limits.WithDefaults()
	d, err := newDecoded(io.NewSectionReader(x.r, 0, x.size), lim.TotalBytes)
	if err != nil {
		return list, fmt.Errorf("build the mzML index: %w", err)
	}
	s := newScanner(ctx, d, lim)
	s.payload, s.payloadMax = true, 16*lim.Points
	b := builder{reading: newReading(s, lim, &headSink{}), list: &list}
	b.ns = x.head.ns
	return list, b.document()
}

// builder notes where elements are.
type builder struct {
	*reading
	list *[2][]Entry
}

// document goes through the whole content.
func (b *builder) document() error {
	for {
		kind, err := b.s.next()
		switch {
		case err != nil:
			return err
		case kind == tokenEOF:
			return nil
		case kind == tokenStart && b.s.ns == b.ns && string(b.s.local) == "run":
			if err := b.run(); err != nil {
				return err
			}
		}
	}
}

// run goes through a run.
func (b *builder) run() error {
	for {
		more, err := b.child()
		if err != nil || !more {
			return err
		}
		to := -1
		for i, name := range listed {
			if string(b.s.local) == name+"List" {
				to = i
			}
		}
		if to < 0 {
			err = b.skip()
		} else {
			err = b.elements(to)
		}
		if err != nil {
			return err
		}
	}
}

// elements notes the elements of a list.
func (b *builder) elements(to int) error {
	for {
		more, err := b.child()
		if err != nil || !more {
			return err
		}
		if string(b.s.local) == listed[to] {
			if b.signalCount++; b.signalCount > b.lim.Signals {
				return b.s.fail(CodeLimitCount, b.s.tag, "more than %d signals", b.lim.Signals)
			}
			b.list[to] = append(b.list[to], Entry{string(b.s.attr("id")), b.s.spot(b.s.tag).Offset})
		}
		if err := b.skip(); err != nil {
			return err
		}
	}
}
