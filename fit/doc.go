// Package fit turns a row of bands read on a ruler into dents per inch with an
// uncertainty budget (JCGM 100:2008, the GUM), and that into a dent size with a
// probability.
//
// Parallax. A ruler whose marked face lies t above the wires, seen from a height
// D above them, covers more of the wires than it says: the count per inch comes
// out high by t/(D-t), and the true one is the count times (D-t)/D. t is told or
// a stated prior; D follows from the focal length and the scale, or is told, or
// is a stated prior.
package fit
