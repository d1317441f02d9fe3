package scenario

// order is the sequence in which batches are exported. The second strength batch comes
// after the congeners that need it, which wait for it.
var order = []string{strength1, congener1, congener2, strength2, colour1, wood1, wood2, colour2, metals1}

// paces are the number of pieces in which an instrument writes a file.
var paces = map[string]int{"GC-1": 8, "LC-1": 4, "UV-1": 2, "DM-1": 3, "PM-1": 5}

// steps puts the exports in order, breaks one off and adds the one that is made again.
func (b *builder) steps(plans []*plan, exports map[string][]export) []Step {
	n := newNoise(b.seed, "pieces")
	instrument, slipped := map[string]string{}, []byte(nil)
	for _, p := range plans {
		instrument[p.name] = p.instrument
		if p.name == strength1 {
			slipped = b.slippedLog(p)
		}
	}
	step := func(batch, file string, data []byte) Step {
		return Step{Instrument: instrument[batch], File: file, Bytes: data, Chunks: pieces(len(data), paces[instrument[batch]], n)}
	}
	unfinished := map[string]bool{}
	var again []Key
	for _, t := range b.out.Troubles {
		for _, f := range t.Unfinished {
			unfinished[f.Name] = true
		}
		for _, c := range t.Corrected {
			again = append(again, c.Key)
		}
	}
	var all []Step
	for _, batch := range order {
		for _, x := range exports[batch] {
			data := x.bytes
			switch {
			case unfinished[x.file]:
				data = data[:len(data)*7/10]
			case batch == strength1:
				data = slipped
			}
			s := step(batch, x.file, data)
			s.Unfinished = unfinished[x.file]
			all = append(all, s)
		}
		if batch == colour1 {
			for _, x := range exports[strength1] {
				s := step(strength1, x.file, x.bytes)
				s.WaitFor = again
				all = append(all, s)
			}
		}
	}
	return all
}

// slippedLog is the first strength export, in which one number is wrong.
func (b *builder) slippedLog(p *plan) []byte {
	first := *p
	first.entries = nil
	for _, e := range p.entries {
		copied := *e
		if e.sample == slippedSample {
			copied.printed = map[string]float64{strengthName: slippedStrength}
		}
		first.entries = append(first.entries, &copied)
	}
	return densityLog(&first, newNoise(b.seed, p.name))
}
