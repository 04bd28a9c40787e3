// Package trade holds what the weaving trade makes and how it orders: dent
// sizes, older reed counts, heddle sizes, lengths as people write them, and
// the rules by which a part fits a loom. It measures nothing and reads no
// files: the tables are CSV embedded from trade/data, each row with a column
// that says where it comes from, and everything else is a pure function.
//
// # Units
//
// Lengths are inches of exactly 25.4 mm (international yard and pound
// agreement, 1959) and their names end in In; densities are dents per inch
// and are called PerInch. The inch of older counts is taken as the same inch;
// the difference was a few parts in a million.
//
// # Uncertainty
//
// A measured length is a [Length]: a value and a standard uncertainty (k = 1,
// JCGM 100:2008). Where a person reads "29.4 ± 0.1 in", the ± is two of them.
// A length with no uncertainty given is taken as read by hand with a rule
// (see [HandReadingU]).
//
// # Words
//
// A rule answers with a struct that carries its words: Reason says why,
// Question is what must be asked before the answer can be trusted (empty when
// nothing is open), Cautions are what a careful person would add. Errors come
// in two kinds: a [Question], for input that could be right but cannot be
// used before the person says more, and any other error, for input that is
// wrong.
//
// # Sources
//
// "common practice, no source" marks a fact of the trade for which no
// publication was at hand; "from memory" marks a value that was not checked
// against one. How common a size is (the weights) and how closely a maker
// holds it (the tolerances) are stated priors, not measurements.
package trade
