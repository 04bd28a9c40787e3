// Package shelf keeps what one owns: the parts (reeds, heddles), the photos
// that were taken of them, what each photo measured with all its evidence,
// what a person said about a part, the looms and the orders. It is one SQLite
// file.
//
// Three rules hold everywhere:
//
//   - A person's word is recorded beside the measured value, never over it.
//     What is believed of a part (its size, its length) is worked out from
//     both: a person's last word first, then the photos.
//   - A file that is not a shelf, is damaged, or was written by a newer
//     dentcount is refused with advice and never written to.
//   - Every change is one transaction: whoever pulls the plug finds either
//     all of it or nothing of it.
//
// Lengths are inches, sizes are dents per inch, times are UTC to the
// microsecond. All text must be valid UTF-8 without NUL.
package shelf
