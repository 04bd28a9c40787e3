//go:build !linux

package box

// keepMemoryLow does nothing here: only glibc is known to need it.
func keepMemoryLow() {}
