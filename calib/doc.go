// Package calib finds a ruler in a photo and reads its ladder of marks.
//
// A ruler is a straight (or gently curved) edge with a ladder: equally spaced
// marks whose lengths repeat in a hierarchy. The stages, each a pure function:
//
//	newPyramid    the photo at several sizes, one for each spacing of marks
//	coarseEdges   long straight edges that are seen from afar, in any direction
//	acrossEdges   edges square to the wires, where those carried no clear ruler
//	fineEdges     finer and fainter ones, where none of those did
//	traceEdge     an edge followed and bent, and how much of it is really there
//	combsAlong    is there an equally spaced comb just inside this edge?
//	likeMarks     marks or wires: which combs are read first
//	readLadder    every mark along the edge, with its length
//	decode        the lengths' hierarchy: eighths … thirty-seconds, tenths, millimetres
//	veilEdges     where none of those is a ruler: edges at which something changes along wires
//	readThrough   the same through a transparent ruler, the wires taken off
//	choose        the ruler among the ladders, and its unit: by the second scale, the
//	              ruler's width, the lengths of its marks and the camera's distance
//	fullScale     marks at full size → px-to-inch map along the edge, with covariance
//
// Coordinates. Points are OpenCV pixels ((0,0) the centre of the first pixel).
// Along an edge a frame is used: `along` runs along the edge in pixels, `depth`
// runs from the edge INTO the ruler, so that the ruler is at depth > 0 and what
// it lies on is seen at depth < 0.
package calib
