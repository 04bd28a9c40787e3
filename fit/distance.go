package fit

// Distance is the camera's distance from the plane that shows pxPerInch pixels
// an inch, in millimetres, and its relative standard uncertainty: what a person
// told, else from the focal length, else from that usual of phones.
func Distance(v View, pxPerInch float64) (mm, relU float64) { return distance(v, pxPerInch) }

// FocalOrUsual is the focal length in pixels for a photo, that usual of phones
// where its EXIF does not tell.
func FocalOrUsual(v View) float64 {
	f := v.Focal35
	if f <= 0 {
		f = focalMedian
	}
	return FocalPx(f, v.WidthPx, v.HeightPx)
}
