package catalogue

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Extend gives the catalogue with the entries and names of x; c stays as it is. What
// the shipped entries say is never changed: a name, registry number or structure key
// that already means another entry is refused. The error is a located.Errors with
// every fault found.
func (c *Catalogue) Extend(x *Extension) (*Catalogue, error) {
	f := x.faults()
	f.document(&x.Document)
	if err := f.Err(); err != nil {
		return nil, err
	}
	j := &joining{checker: f, Catalogue: &Catalogue{
		entries: maps.Clone(c.entries), index: maps.Clone(c.index), ambiguous: maps.Clone(c.ambiguous),
	}}
	if j.entries == nil {
		j.entries, j.index, j.ambiguous = map[string]Entry{}, map[string]reference{}, map[string]Ambiguity{}
	}
	for i := range x.Entries {
		j.entry(fmt.Sprintf("entries[%d]", i), x.Entries[i].clone())
	}
	for i := range x.Entries {
		j.sum(fmt.Sprintf("entries[%d]", i), &x.Entries[i])
	}
	for i := range x.Additions {
		j.addition(fmt.Sprintf("additions[%d]", i), &x.Additions[i])
	}
	for i, a := range x.Ambiguous {
		a.Names, a.Entries = slices.Clone(a.Names), slices.Clone(a.Entries)
		j.ambiguity(fmt.Sprintf("ambiguous[%d]", i), a)
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	return j.Catalogue, nil
}

// joining is a catalogue while a document is added to it.
type joining struct {
	*checker
	*Catalogue
}

func (j *joining) entry(path string, e Entry) {
	if _, twice := j.entries[e.Name]; twice {
		j.Fault(path+".name", "add names to it under additions", "the catalogue already has an entry %q", e.Name)
		return
	}
	j.entries[e.Name] = e
	j.claim(path+".name", e.Name, e.Name, false)
	j.claim(path+".cas", e.CAS, e.Name, true)
	for i, number := range e.AlsoCAS {
		j.claim(fmt.Sprintf("%s.also_cas[%d]", path, i), number, e.Name, true)
	}
	j.claim(path+".inchikey", e.InChIKey, e.Name, true)
	j.claimAll(path+".names", &e.Names, e.Name)
}

func (j *joining) claimAll(path string, n *Names, owner string) {
	for _, l := range n.lists() {
		for i, name := range *l.list {
			j.claim(fmt.Sprintf("%s.%s[%d]", path, l.key, i), name, owner, false)
		}
	}
}

// claim makes a name or number mean the entry owner, or says what it already means.
func (j *joining) claim(path, text, owner string, number bool) {
	if text == "" {
		return
	}
	key := Normalise(text)
	if taken, ok := j.index[key]; ok {
		if taken.name != owner {
			j.Fault(path, "a name or number means one entry; leave it out, or use additions for further names of that entry", "%q already means %s", text, taken.name)
		}
		return
	}
	if a, ok := j.ambiguous[key]; ok {
		j.Fault(path, "under additions it can be settled as one of these", "%q is ambiguous: %s", text, strings.Join(a.Entries, ", "))
		return
	}
	j.index[key] = reference{name: owner, text: text, number: number}
}

// sum wants the parts of a sum to be entries.
func (j *joining) sum(path string, e *Entry) {
	for i, part := range e.Components {
		j.known(fmt.Sprintf("%s.components[%d]", path, i), part)
	}
	if e.ExpressedAs != "" {
		j.known(path+".expressed_as", e.ExpressedAs)
	}
}

// known tells whether name is the canonical name of an entry, else adds a fault.
func (j *joining) known(path, name string) bool {
	if _, ok := j.entries[name]; ok {
		return true
	}
	hint := ""
	if e, err := j.Find(name); err == nil {
		hint = fmt.Sprintf("its canonical name is %q", e.Name)
	} else {
		hint = err.Error()
	}
	j.Fault(path, hint, "%q is not the canonical name of an entry", name)
	return false
}

func (j *joining) addition(path string, a *Addition) {
	if !j.known(path+".of", a.Of) {
		return
	}
	e := j.entries[a.Of].clone()
	added := a.Names.lists()
	for i, l := range e.Names.lists() {
		for _, name := range *added[i].list {
			key := Normalise(name)
			if before, ok := j.ambiguous[key]; ok && slices.Contains(before.Entries, a.Of) {
				delete(j.ambiguous, key)
			}
			if !slices.Contains(*l.list, name) {
				*l.list = append(*l.list, name)
			}
		}
	}
	j.entries[a.Of] = e
	j.claimAll(path+".names", &a.Names, a.Of)
}

func (j *joining) ambiguity(path string, a Ambiguity) {
	for i, name := range a.Entries {
		j.known(fmt.Sprintf("%s.entries[%d]", path, i), name)
	}
	for i, name := range a.Names {
		at, key := fmt.Sprintf("%s.names[%d]", path, i), Normalise(name)
		if taken, ok := j.index[key]; ok {
			j.Fault(at, "", "%q already means %s", name, taken.name)
			continue
		}
		if before, ok := j.ambiguous[key]; ok && !slices.Equal(before.Entries, a.Entries) {
			j.Fault(at, "", "%q is already ambiguous: %s", name, strings.Join(before.Entries, ", "))
			continue
		}
		j.ambiguous[key] = a
	}
}
