package method

import (
	"fmt"
	"slices"
	"strings"
)

// Known is an analyte as a catalogue knows it.
type Known struct {
	Name string   // canonical
	CAS  []string // its registry numbers, the usual one first; none where there is none
}

// ParseKnown does as Parse and also looks every analyte up by its name. A name that
// find does not know, or that can mean several analytes, two names for one analyte and
// a CAS number of another analyte are faults in their places. find's error says which
// names come nearest. An internal standard may be unknown; its CAS number may not
// contradict its name.
func ParseKnown(file string, data []byte, find func(name string) (Known, error)) (*Method, error) {
	c, err := parse(file, data)
	if err != nil {
		return nil, err
	}
	names := map[string]string{} // by canonical name
	for i := range c.method.Analytes {
		a, path := &c.method.Analytes[i], fmt.Sprintf("analytes[%d]", i)
		known, err := find(a.Name)
		if err != nil {
			c.Fault(path+".name", "use a name of the analyte catalogue", "%s.name: %v", path, err)
			continue
		}
		if other, twice := names[known.Name]; twice {
			c.Fault(path+".name", "an analyte is measured once by a method", "%q and %q are both %s", other, a.Name, known.Name)
		}
		names[known.Name] = a.Name
		c.sameNumber(path, a.CAS, known)
	}
	if is := c.method.InternalStandard; is != nil {
		if known, err := find(is.Name); err == nil {
			c.sameNumber("internal_standard", is.CAS, known)
		}
	}
	if err := c.Err(); err != nil {
		return nil, err
	}
	return c.method, nil
}

// sameNumber reports a CAS number that is none of the analyte's own.
func (c *checker) sameNumber(path, cas string, known Known) {
	if cas == "" || len(known.CAS) == 0 || slices.Contains(known.CAS, cas) {
		return
	}
	c.Fault(path+".cas", "correct the name or the number", "%s.cas: %s is not %s, which has %s", path, cas, known.Name, strings.Join(known.CAS, " or "))
}
