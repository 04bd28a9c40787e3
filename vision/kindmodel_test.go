package vision

import (
	"math"
	"strings"
	"testing"
)

// The table and the code speak of the same cues, each of them bounded.
func TestKindTableKnowsTheCues(t *testing.T) {
	w, err := parseKindWeights(kindCSV)
	if err != nil {
		t.Fatal(err)
	}
	odd := &arcs{narrow: math.NaN(), darker: math.Inf(1), change: -1, frontChange: 1e9, narrowChange: math.Inf(-1), between: 1e9, lighter: math.Inf(1)}
	for _, a := range []*arcs{nil, {}, odd} {
		cues := kindCues(a, 1e9, middle{1e9, 0}, 1e9)
		if len(cues) < 5 || len(cues) != len(w.by) {
			t.Errorf("%d cues, %d weights", len(cues), len(w.by))
		}
		for _, c := range cues {
			by, ok := w.by[c.Name]
			if !ok {
				t.Errorf("cue %q has no weight", c.Name)
			}
			if !(math.Abs(c.Value) <= 4) || !(math.Abs(by) <= 6) {
				t.Errorf("cue %q is %g and weighs %g", c.Name, c.Value, by)
			}
		}
	}
	if !strings.HasPrefix(kindCSV, "#") || !strings.Contains(kindCSV, "seed") && !strings.Contains(kindCSV, "practice") {
		t.Error("the table does not say what it was fitted to")
	}
}

// What is seen convinces by itself: holes of a rigid heddle, a plain middle of a
// reed. Nothing is certain, and where nothing is seen the other reading is told.
func TestSlotsOrWires(t *testing.T) {
	holes := slotsOrWires(kindCues(nil, 3, unseenMiddle, 5))
	if holes.kind != RigidHeddle || holes.dentsPerBand() != 2 || holes.probability < 0.95 || holes.probability >= 1 || holes.holesHidden {
		t.Errorf("clear holes: %+v", holes)
	}
	plain := slotsOrWires(kindCues(nil, 0, middle{1, 0}, 6))
	if plain.kind != Reed || plain.dentsPerBand() != 1 || plain.probability < 0.7 {
		t.Errorf("a plain middle: %+v", plain)
	}
	nothing := slotsOrWires(kindCues(nil, 0, unseenMiddle, 5))
	if nothing.probability > 0.88 || !nothing.holesHidden {
		t.Errorf("nothing seen: %+v", nothing)
	}
}

// Where the tone halves, arcs may say wires: they leave it unsure, and no more, for
// they are told to know slots alone from wires.
func TestTurnsOrWires(t *testing.T) {
	turns := turnsOrWires(kindCues(nil, 0, unseenMiddle, 5), false)
	if turns.kind != RigidHeddle || turns.dentsPerBand() != 1 || turns.probability < 0.7 || turns.probability > turnsStated+1e-9 {
		t.Errorf("no arcs told: %+v", turns)
	}
	cues := kindCues(&arcs{narrow: 0.35, darker: -1, change: 0.3, frontChange: 0.3, narrowChange: -2, between: 0.1}, 0, unseenMiddle, 7)
	if odds := kindModel().odds(cues); odds > -3 {
		t.Fatalf("the cues hardly speak for wires: %.2f", odds)
	}
	wires := turnsOrWires(cues, false)
	if wires.kind != RigidHeddle || wires.dentsPerBand() != 1 || wires.probability > 0.75 || wires.probability < 0.5 {
		t.Errorf("arcs of wires: %+v", wires)
	}
	if in := turnsOrWires(cues, true); in.probability < wires.probability+0.05 || in.probability > 0.88 {
		t.Errorf("arcs of wires, slots in step: %+v", in)
	}
	if k := (kindRead{cues: cues}).orInTurn(turn{seen: true, steady: 0.95}); k.probability <= wires.probability {
		t.Errorf("slots that keep step: %+v", k)
	}
}

// Where holes are seen arcs may speak against slots, and say no more than that it is unsure.
func TestArcsAgainstHoles(t *testing.T) {
	wires := &arcs{narrow: 0.35, darker: -1, change: 0.3, frontChange: 0.3, narrowChange: -2, between: 0.3, wires: 1}
	for _, holes := range []float64{0, 1.6, 2.1, 3} {
		alone, both := kindModel().odds(kindCues(nil, holes, unseenMiddle, 5)), kindModel().odds(kindCues(wires, holes, unseenMiddle, 5))
		told := kindModel().by["arcs told"]
		if against := alone + told - both; holes < halvesHidden && against < 4 || holes > halvesHidden && math.Abs(against-mostAgainst) > 1e-9 {
			t.Errorf("holes as clear as %.1f: arcs speak against them by %.2f", holes, against)
		}
	}
}

// Bands that only by chance look like slots and holes in turn are what the cues say they are,
// if that is wires.
func TestOrInTurn(t *testing.T) {
	wires := slotsOrWires(kindCues(nil, 0, middle{1, 0}, 6))
	slots := slotsOrWires(kindCues(nil, 3, unseenMiddle, 5))
	for _, c := range []struct {
		name  string
		k     kindRead
		t     turn
		kind  Kind
		dents int
	}{
		{"wires", wires, turn{}, Reed, 1},
		{"wires in turn", wires, turn{seen: true}, RigidHeddle, 1},
		{"wires in turn by chance", wires, turn{seen: true, byChance: true}, Reed, 1},
		{"slots", slots, turn{}, RigidHeddle, 2},
		{"slots in turn by chance", slots, turn{seen: true, byChance: true}, RigidHeddle, 1},
	} {
		if got := c.k.orInTurn(c.t); got.kind != c.kind || got.dentsPerBand() != c.dents {
			t.Errorf("%s: %s, %d dents a band", c.name, got.kind, got.dentsPerBand())
		}
	}
}

func TestParseKindWeightsRefuses(t *testing.T) {
	for _, bad := range []string{
		"cue,weight\nbias,1\n", "cue,weight\nceiling,1\n", "cue,weight\nceiling,0.4\n", "cue,weight\nceiling,0.9\nholes clear,NaN\n",
		"cue,weight\nceiling,0.9\nholes clear,x\n", "a,b,c\n", "",
	} {
		if _, err := parseKindWeights(bad); err == nil {
			t.Errorf("taken: %q", bad)
		}
	}
}
