// Package vision counts the bands of a reed or a rigid heddle along a ruler's
// marked edge: reed wires, or slots and holes.
//
// The wires pass under the ruler. Their lines, seen just beside it, are followed
// in their own direction to the edge where the marks stand, and read there on
// the ruler's own scale. The stages, each a pure function:
//
//	beside      the strip beside the ruler, on the ruler's along/depth frame
//	findLean    the direction of the bands in that strip
//	onRuler     their mean along that direction, in inches of the ruler
//	findPeriod  the period of that profile, with its octaves weighed
//	kindOf      reed or rigid heddle, by the zone where holes double the tone
//	locate      every band's place, which are bent, missing or hidden
//	frontPlane  which of the planes the edges lie in is the wires' front
//	fitFront    the spacing there, at the ruler's edge itself
//
// Frames are calib.Frame: along in px along the edge, depth > 0 inside the
// ruler, so that bands are seen at depth < 0.
package vision
