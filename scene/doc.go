// Package scene draws practice photos: phone-like pictures of reeds and rigid
// heddles with a ruler on them, and of what gets photographed by mistake, each
// with its exact truth. Tests, the accuracy report and "dentcount practice"
// use it; the measuring packages never import it.
//
// # World
//
// Lengths are millimetres. x runs across the dents (along the ruler, but for
// its skew), y along the wires, z towards the camera; the axes are
// right-handed, so a camera above sees x to the right and y up. The plane
// z = 0 is the FRONT of the wires, or of a heddle's panel: the plane a ruler
// lies on. A ruler of thickness t has its printed face at z = t. Wires and
// panels reach down to z = -depth, the table lies deeper still.
//
// # Pixels
//
// Points are [x, y] in the upright photo (EXIF orientation applied), x right,
// y down, (0,0) the top-left CORNER of the top-left pixel, so that the first
// pixel's centre is (0.5, 0.5).
//
// # How a pixel is found
//
// Each pixel casts one ray from a pinhole camera, through a radial lens
// distortion r' = r·(1 + k1·(r/R)²), R half the photo's diagonal. Wires are
// prisms along y, so what a ray meets depends on x at z = 0 alone: for each
// wire the outline it shows to the camera (front, rounded corners and the
// side wall that faces the camera's foot) is laid out once as a table along
// x, integrated, and a pixel is the difference of two look-ups: an exact box
// filter over the pixel's width with no supersampling. Rulers, marks, slots
// and holes are intervals with closed-form coverage. Light is linear until the
// sensor: lens blur, exposure, tone curve, noise and sharpening follow in that
// order, then JPEG.
//
// Draw is a pure function of its Spec: the same Spec gives the same bytes on
// the same kind of processor (one that fuses multiply and add may differ in
// the last bit).
package scene
