// Package judge holds the statistics by which answers with known truth are
// judged: binomial intervals, calibration of probabilities, risk against
// coverage, and the floors that no reader of the photo can get under.
//
// It knows nothing of photos and is given plain numbers. Probabilities and
// shares run from 0 to 1; pitches are dents per inch; lengths say their unit.
package judge
