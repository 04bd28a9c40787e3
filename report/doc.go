// Package report turns a measure.Result into what a person or a script reads:
// one JSON line, a few lines of words, a picture with the evidence drawn in.
// It decides nothing about the measurement.
package report
