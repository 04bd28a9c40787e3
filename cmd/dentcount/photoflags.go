package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"dentcount/measure"
)

// What may be said of a ruler and a camera, in millimetres. Outside of it a
// number is a slip of the unit or of the finger.
const (
	minRulerThicknessMM = 0.01 // a scale printed on film
	maxRulerThicknessMM = 30
	minCameraDistanceMM = 30
	maxCameraDistanceMM = 10_000
)

// photoFlags are the flags of every command that measures in a photo.
type photoFlags struct {
	part      partFlag
	unit      unitFlag
	thickness mmFlag
	distance  mmFlag
}

// addTo declares the flags on cmd.
func (f *photoFlags) addTo(cmd *cobra.Command) {
	f.thickness = mmFlag{min: minRulerThicknessMM, max: maxRulerThicknessMM, example: "1.5", hint: "a printed paper scale is about 0.1"}
	f.distance = mmFlag{min: minCameraDistanceMM, max: maxCameraDistanceMM, example: "300"}
	fs := cmd.Flags()
	fs.Var(&f.part, "part", "the `PART` in the photo: "+strings.Join(partNames(), " or ")+" (default: told from the photo)")
	fs.Var(&f.unit, "unit", "the `UNIT` of the ruler: in or cm (default: told from its marks)")
	fs.Var(&f.thickness, "ruler-thickness", "height of the ruler's marked face above the wires, in `MM`")
	fs.Var(&f.distance, "camera-distance", "distance from the camera to the ruler, in `MM`")
}

// options is what the flags say. They were checked when they were read.
func (f *photoFlags) options() measure.Options {
	return measure.Options{
		Part:             measure.Part(f.part),
		Unit:             string(f.unit),
		RulerThicknessMM: f.thickness.value,
		CameraDistanceMM: f.distance.value,
	}
}

// mmFlag is a length in millimetres within bounds; zero means not given. It
// takes "1.5" and "1.5mm".
type mmFlag struct {
	value    float64
	min, max float64
	example  string
	hint     string
}

func (f *mmFlag) String() string {
	if f == nil || f.value == 0 {
		return ""
	}
	return strconv.FormatFloat(f.value, 'g', -1, 64)
}

func (f *mmFlag) Type() string { return "mm" }

func (f *mmFlag) Set(s string) error {
	text := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(s), "mm"))
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(x) || x < f.min || x > f.max {
		msg := fmt.Sprintf("give millimetres from %g to %g, such as %s", f.min, f.max, f.example)
		if f.hint != "" {
			msg += " (" + f.hint + ")"
		}
		return fmt.Errorf("%s", msg)
	}
	f.value = x
	return nil
}

// partFlag is a part that can be measured, or empty.
type partFlag measure.Part

// partNames lists the parts that can be asked for.
func partNames() []string { return []string{string(measure.Reed), string(measure.RigidHeddle)} }

func (f *partFlag) String() string { return string(*f) }
func (f *partFlag) Type() string   { return "part" }

func (f *partFlag) Set(s string) error {
	for _, name := range partNames() {
		if s == name {
			*f = partFlag(s)
			return nil
		}
	}
	return fmt.Errorf("give %s", strings.Join(partNames(), " or "))
}

// unitFlag is "in", "cm" or empty.
type unitFlag string

func (f *unitFlag) String() string { return string(*f) }
func (f *unitFlag) Type() string   { return "unit" }

func (f *unitFlag) Set(s string) error {
	if s != "in" && s != "cm" {
		return fmt.Errorf("give in or cm")
	}
	*f = unitFlag(s)
	return nil
}
