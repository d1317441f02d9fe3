package qc

// Publication is the state of a result revision towards readers. The store derives
// it; Evaluate only says clear or held.
type Publication string

const (
	PubHeld       Publication = "held"       // something that covers it has not passed
	PubCleared    Publication = "cleared"    // covered; waits for an authoriser
	PubReleased   Publication = "released"   // readers have it
	PubRejected   Publication = "rejected"   // a person decided that it is not to be reported
	PubSuperseded Publication = "superseded" // a newer revision took its place
	PubWithdrawn  Publication = "withdrawn"  // readers had it; its evidence changed
)

// transitions is the one table of what may follow what; "" is a new revision. The
// database mirrors it, and a test compares the two.
var transitions = map[Publication][]Publication{
	"":            {PubHeld, PubCleared, PubReleased},
	PubHeld:       {PubCleared, PubReleased, PubRejected, PubSuperseded},
	PubCleared:    {PubHeld, PubReleased, PubRejected, PubSuperseded},
	PubReleased:   {PubSuperseded, PubWithdrawn},
	PubRejected:   {PubSuperseded},
	PubWithdrawn:  {PubSuperseded},
	PubSuperseded: {},
}

// MayFollow tells whether a revision in state from may go to state to.
func MayFollow(from, to Publication) bool {
	for _, t := range transitions[from] {
		if t == to {
			return true
		}
	}
	return false
}

// Transitions lists the allowed pairs (from, to).
func Transitions() [][2]Publication {
	var pairs [][2]Publication
	for _, from := range []Publication{"", PubHeld, PubCleared, PubReleased, PubRejected, PubWithdrawn, PubSuperseded} {
		for _, to := range transitions[from] {
			pairs = append(pairs, [2]Publication{from, to})
		}
	}
	return pairs
}
