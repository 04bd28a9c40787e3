// Package box sorts a box of parts: it measures every photo of a folder, keeps
// what was measured on the shelf, finds which photos show one part, and makes
// a sheet of the parts.
//
// It can be stopped at any moment, by pulling the plug too: each photo that
// was measured is one transaction on the shelf, told by the digest of its
// content and the version of the measuring. The next run takes these as done.
// Which photos show one part is worked out at the end, in one transaction,
// from all of them. So a run that was stopped and taken up again ends with
// the same sheet as one that was not.
package box
