package trade

// Binding is how a reed's wires are held in its baulks.
type Binding string

// The ways reeds are bound. The zero value means: not known.
const (
	BindingUnknown Binding = ""
	ResinBound     Binding = "resin" // modern: wires set in plastic or resin
	PitchBound     Binding = "pitch" // older: wooden ribs wound with pitched or tarred cord
	WireBound      Binding = "wire"  // older: wooden or metal ribs wound with spacing wire
	Soldered       Binding = "solder"
)

// BindingFacts says how to tell a binding and how it takes a saw.
type BindingFacts struct {
	Binding  Binding
	Name     string // in words; empty for one that is not known
	Tell     string // how to recognise it
	Clean    bool   // cuts cleanly between two wires
	Cutting  string // what happens when it is cut
	Cautions []string
	Source   string
}

// Facts tells about a binding. An unknown one gives the question in Tell.
func (b Binding) Facts() BindingFacts {
	switch b {
	case ResinBound:
		return BindingFacts{
			Binding: b, Name: "resin-bound", Clean: true,
			Tell:    "the baulks are smooth plastic or resin in a metal or plastic channel, with no cord or wire wound round them",
			Cutting: "cuts cleanly between two wires: the resin holds the rest",
			Cautions: []string{
				"sawing resin makes fine dust: wear a dust mask, and vacuum it rather than sweep",
			},
			Source: "common practice, no source",
		}
	case PitchBound:
		return BindingFacts{
			Binding: b, Name: "bound with pitched cord",
			Tell:    "dark, brittle or sticky tar-like stuff over cord wound round wooden ribs, one turn between every two wires; old paper may be glued over it",
			Cutting: "may come apart: the cord unwinds from a cut end and the wires lose their places: whip and glue it on both sides of the cut first",
			Cautions: []string{
				"old pitch and tar can irritate the skin and should not be breathed or burnt: wear gloves, don't heat it, don't sand it",
			},
			Source: "common practice, no source",
		}
	case WireBound:
		return BindingFacts{
			Binding: b, Name: "wire-bound",
			Tell:    "fine wire wound round the ribs in a close even coil, one turn or more between every two wires",
			Cutting: "may come apart: the coil springs open at a cut end and the wires lose their places: fix it on both sides of the cut first",
			Cautions: []string{
				"a cut coil springs: keep the face away and the eyes covered",
			},
			Source: "common practice, no source",
		}
	case Soldered:
		return BindingFacts{
			Binding: b, Name: "soldered",
			Tell:    "a wound coil flooded with dull grey metal, so that the baulk is one solid bar",
			Cutting: "holds together when cut, but old solder holds lead",
			Cautions: []string{
				"old solder is mostly lead: don't saw, file or sand it at home; leave it to a reed maker, wash your hands, and keep it from children",
			},
			Source: "from memory",
		}
	}
	return BindingFacts{
		Tell:    "how is the reed bound: smooth resin or plastic, tarred cord over wood, wound wire, or solder?",
		Cutting: "a resin-bound reed cuts cleanly; one bound with tarred cord or wire may come apart",
		Source:  "common practice, no source",
	}
}

// Known tells whether the binding is one of those listed.
func (b Binding) Known() bool {
	switch b {
	case ResinBound, PitchBound, WireBound, Soldered:
		return true
	}
	return false
}

// Bindings lists the facts of every binding, the modern one first.
func Bindings() []BindingFacts {
	var out []BindingFacts
	for _, b := range []Binding{ResinBound, PitchBound, WireBound, Soldered} {
		out = append(out, b.Facts())
	}
	return out
}

// cuttingCautions are shown with every cut.
func cuttingCautions(b Binding) []string {
	c := []string{
		"reed wires are thin steel: the cut leaves splinters and sharp edges; wear eye protection and cut-resistant gloves",
		"clamp the reed flat between two battens right beside the cut; never hold it in the hand or on the knee",
		"rust and old paint: paint may hold lead, so don't sand it dry and don't let the dust lie; clean up wet",
		"file the cut smooth, then bind or cap the end before the reed goes near a warp",
	}
	c = append(c, b.Facts().Cautions...)
	return append(c, "follow the rules of the place you work in, and leave it to a reed maker or a qualified person if any of this is new to you")
}
