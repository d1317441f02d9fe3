package scenario

import (
	"fmt"
	"sort"
)

// export is one file as an instrument leaves it.
type export struct {
	file  string
	bytes []byte
}

// write makes the exports of a batch.
func (p *plan) write(n noise) ([]export, error) {
	if !p.perFile {
		var data []byte
		switch p.instrument {
		case "GC-1":
			data = peakTable(p, n)
		case "DM-1":
			data = densityLog(p, n)
		case "PM-1":
			data = elementTable(p, n)
		default:
			return nil, fmt.Errorf("instrument %s has no writer", p.instrument)
		}
		return []export{{p.name + p.extension, data}}, nil
	}
	var all []export
	for _, e := range p.entries {
		var data []byte
		var err error
		switch p.instrument {
		case "LC-1":
			data, err = mzMLFile(p, e, n)
		case "UV-1":
			// The second half of a run comes from a program version that packs ordinates.
			data = jcampFile(e, e.position > len(p.entries)/2, n)
		default:
			err = fmt.Errorf("instrument %s has no writer", p.instrument)
		}
		if err != nil {
			return nil, fmt.Errorf("position %d: %w", e.position, err)
		}
		all = append(all, export{e.file, data})
	}
	return all, nil
}

// pieces gives lengths that sum to size: what a slow instrument writes at a time.
func pieces(size, count int, n noise) []int {
	if size < count {
		return []int{size}
	}
	cuts := map[int]bool{}
	for len(cuts) < count-1 {
		cuts[1+n.r.IntN(size-1)] = true
	}
	at := make([]int, 0, count)
	for c := range cuts {
		at = append(at, c)
	}
	sort.Ints(at)
	at = append(at, size)
	lengths, before := make([]int, 0, count), 0
	for _, c := range at {
		lengths = append(lengths, c-before)
		before = c
	}
	return lengths
}
