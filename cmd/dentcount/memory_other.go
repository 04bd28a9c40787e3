//go:build !linux

package main

// keepMemoryLow does nothing here: only glibc is known to need it.
func keepMemoryLow() {}
