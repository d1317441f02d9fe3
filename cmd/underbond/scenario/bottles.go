package scenario

// bottle is one bottle of the survey: what its label claims, and what nobody in the
// laboratory knows, its history.
type bottle struct {
	id       string
	category string
	producer string
	received string // RFC 3339
	opened   string // RFC 3339
	refMat   bool   // a bottle of witnessed history, kept as a reference
	claim    claim
	history  history
	truth    chemistry
}

// claim is what the label says, as the register writes it.
type claim struct {
	age       string // years
	wood      string
	held      string
	feedstock string
	still     string
	origin    string
	additions string
	status    string
}

// Stills and woods.
const (
	pot      = "pot"
	column   = "column"
	oak      = "oak"
	chestnut = "chestnut"
	acacia   = "acacia"
	none     = "none"
)

// history is what really happened to the spirit.
type history struct {
	pear     float64 // share of pears among the fruit, 0 to 1
	mash     bool    // fermented on the pulp, which sets methanol free
	still    string
	years    float64 // in wood
	wood     string
	held     string  // the cask's former contents: "new", "cider", "perry", "wine"
	charcoal bool    // filtered through charcoal until colourless
	caramel  float64 // caramel added, g/L
	strength float64 // % vol at 20 °C, as bottled
}

// fillCellar gives the bottles of the survey with the chemistry that a seed makes of
// their histories.
func fillCellar(seed uint64) []bottle {
	cellar := append([]bottle(nil), survey...)
	for i := range cellar {
		b := &cellar[i]
		b.received, b.opened = "2026-02-16T10:30:00+01:00", "2026-03-02T07:40:00+01:00"
		if i >= 12 {
			b.received, b.opened = "2026-02-19T14:05:00+01:00", "2026-03-04T07:35:00+01:00"
		}
		b.truth = brew(b.history, newNoise(seed, "bottle "+b.id))
	}
	return cellar
}

// Producers, all invented.
const (
	brundle = "Brundle & Daughter (invented)"
	kell    = "Kellmarsh Orchard Still (invented)"
	hollow  = "Hollow Pear Stillhouse (invented)"
	sedge   = "Sedgewater Fruit Spirits (invented)"
)

const (
	cider     = "cider spirit"
	perry     = "perry spirit"
	ciderPear = "cider and perry spirit"
)

// survey is the county survey. OC-009 is old and looks like water; OC-010 is young and
// looks old; OC-012 was fermented on the pulp of pears. Their labels do not say so.
var survey = []bottle{
	{id: "OC-001", category: cider, producer: brundle,
		claim:   claim{"0", none, none, "apple", pot, "Westmark 100 %", "none", "declared"},
		history: history{still: pot, wood: none, strength: 42.13}},
	{id: "OC-002", category: cider, producer: brundle,
		claim:   claim{"2", oak, "cider", "apple", pot, "Westmark 100 %", "none", "declared"},
		history: history{still: pot, years: 2.2, wood: oak, held: "cider", strength: 40.21}},
	{id: "OC-003", category: cider, producer: kell,
		claim:   claim{"4", oak, "wine", "apple", pot, "Lower Ostel 100 %", "none", "documented"},
		history: history{still: pot, years: 4.1, wood: oak, held: "wine", strength: 41.87}},
	{id: "OC-004", category: cider, producer: sedge,
		claim:   claim{"6", oak, "cider", "apple", column, "Upper Ostel 100 %", "none", "declared"},
		history: history{still: column, years: 6.3, wood: oak, held: "cider", strength: 40.08}},
	{id: "OC-005", category: cider, producer: brundle,
		claim:   claim{"8", oak, "wine", "apple", pot, "Westmark 60 %; Lower Ostel 40 %", "none", "documented"},
		history: history{still: pot, years: 8.4, wood: oak, held: "wine", strength: 43.02}},
	{id: "OC-006", category: perry, producer: hollow,
		claim:   claim{"0", none, none, "pear", pot, "Fennmoor 100 %", "none", "declared"},
		history: history{pear: 1, still: pot, wood: none, strength: 40.16}},
	{id: "OC-007", category: perry, producer: hollow,
		claim:   claim{"3", chestnut, "cider", "pear", pot, "Fennmoor 100 %", "none", "declared"},
		history: history{pear: 1, still: pot, years: 3.1, wood: chestnut, held: "cider", strength: 44.12}},
	{id: "OC-008", category: perry, producer: sedge,
		claim:   claim{"5", oak, "perry", "pear", column, "Upper Ostel 100 %", "none", "declared"},
		history: history{pear: 1, still: column, years: 5.2, wood: oak, held: "perry", strength: 40.33}},
	{id: "OC-009", category: perry, producer: hollow,
		claim:   claim{"10", oak, "wine", "pear", pot, "Fennmoor 100 %", "none", "declared"},
		history: history{pear: 1, still: pot, years: 10.4, wood: oak, held: "wine", charcoal: true, strength: 41.45}},
	{id: "OC-010", category: cider, producer: sedge,
		claim:   claim{"8", oak, "cider", "apple", pot, "Lower Ostel 100 %", "none", "declared"},
		history: history{still: column, years: 1.1, wood: oak, held: "cider", caramel: 1.6, strength: 40.02}},
	{id: "OC-011", category: cider, producer: kell,
		claim:   claim{"1", acacia, "new", "apple", column, "Lower Ostel 100 %", "none", "documented"},
		history: history{still: column, years: 1.3, wood: acacia, held: "new", strength: 42.66}},
	{id: "OC-012", category: perry, producer: hollow,
		claim:   claim{"2", acacia, "cider", "pear", pot, "Fennmoor 100 %", "none", "declared"},
		history: history{pear: 1, mash: true, still: pot, years: 2.0, wood: acacia, held: "cider", strength: 43.51}},
	{id: "OC-013", category: cider, producer: brundle, refMat: true,
		claim:   claim{"12", oak, "wine", "apple", pot, "Westmark 100 %", "none", "witnessed"},
		history: history{still: pot, years: 12.2, wood: oak, held: "wine", strength: 45.27}},
	{id: "OC-014", category: cider, producer: sedge, refMat: true,
		claim:   claim{"0", none, none, "apple", column, "Upper Ostel 100 %", "none", "witnessed"},
		history: history{still: column, wood: none, strength: 40.49}},
	{id: "OC-015", category: perry, producer: kell,
		claim:   claim{"7", oak, "cider", "pear", pot, "Lower Ostel 100 %", "none", "documented"},
		history: history{pear: 1, still: pot, years: 7.3, wood: oak, held: "cider", strength: 42.35}},
	{id: "OC-016", category: ciderPear, producer: kell,
		claim:   claim{"3", oak, "cider", "apple and pear", pot, "Fennmoor 50 %; Upper Ostel 50 %", "none", "declared"},
		history: history{pear: 0.5, still: pot, years: 3.4, wood: oak, held: "cider", strength: 41.03}},
	{id: "OC-017", category: cider, producer: sedge,
		claim:   claim{"5", chestnut, "wine", "apple", column, "Upper Ostel 70 %; Westmark 30 %", "none", "declared"},
		history: history{still: column, years: 5.0, wood: chestnut, held: "wine", strength: 40.71}},
	{id: "OC-018", category: perry, producer: hollow,
		claim:   claim{"1", oak, "new", "pear", pot, "Fennmoor 100 %", "none", "documented"},
		history: history{pear: 1, still: pot, years: 1.2, wood: oak, held: "new", strength: 43.88}},
	{id: "OC-019", category: cider, producer: brundle,
		claim:   claim{"9", oak, "cider", "apple", pot, "Westmark undisclosed; Lower Ostel undisclosed", "none", "declared"},
		history: history{still: pot, years: 9.1, wood: oak, held: "cider", strength: 42.94}},
	{id: "OC-020", category: cider, producer: kell,
		claim:   claim{"2", chestnut, "cider", "apple", pot, "Lower Ostel 100 %", "none", "declared"},
		history: history{still: pot, years: 2.4, wood: chestnut, held: "cider", strength: 40.58}},
	{id: "OC-021", category: perry, producer: sedge,
		claim:   claim{"4", oak, "wine", "pear", column, "Upper Ostel 100 %", "none", "declared"},
		history: history{pear: 1, still: column, years: 4.2, wood: oak, held: "wine", strength: 40.26}},
	{id: "OC-022", category: ciderPear, producer: hollow,
		claim:   claim{"6", acacia, "cider", "apple and pear", pot, "Fennmoor 80 %; Westmark 20 %", "none", "declared"},
		history: history{pear: 0.8, still: pot, years: 6.1, wood: acacia, held: "cider", strength: 42.07}},
	{id: "OC-023", category: cider, producer: sedge,
		claim:   claim{"3", oak, "cider", "apple", column, "Upper Ostel 100 %", "caramel", "declared"},
		history: history{still: column, years: 3.0, wood: oak, held: "cider", caramel: 0.5, strength: 40.11}},
	{id: "OC-024", category: perry, producer: hollow, refMat: true,
		claim:   claim{"12", oak, "wine", "pear", pot, "Fennmoor 100 %", "none", "witnessed"},
		history: history{pear: 1, still: pot, years: 12.4, wood: oak, held: "wine", strength: 44.63}},
}

// strayBottle is a bottle that stands in one worklist and in no register.
func strayBottle(seed uint64) bottle {
	b := bottle{id: straySample, history: history{still: pot, years: 3.0, wood: oak, held: "cider", strength: 41.20}}
	b.truth = brew(b.history, newNoise(seed, "bottle "+b.id))
	return b
}
