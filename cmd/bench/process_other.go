//go:build !linux

package main

import "time"

// Elsewhere than on Linux these figures are not known and print as 0.

func resetPeak() int64 { return 0 }

func peak() int64 { return 0 }

func cpuTime() time.Duration { return 0 }
