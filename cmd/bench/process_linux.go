package main

import (
	"os"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// resetPeak makes peak start anew, and returns the memory the process holds
// now, in bytes (proc(5), clear_refs and VmHWM).
func resetPeak() int64 {
	if os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) != nil {
		return 0
	}
	return statusBytes("VmRSS:")
}

// peak is the most memory the process held since resetPeak, in bytes.
func peak() int64 { return statusBytes("VmHWM:") }

func statusBytes(field string) int64 {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(status)) {
		if rest, ok := strings.CutPrefix(line, field); ok {
			if f := strings.Fields(rest); len(f) > 0 {
				kb, _ := strconv.ParseInt(f[0], 10, 64)
				return kb << 10
			}
		}
	}
	return 0
}

// cpuTime is the processor time the process has used on all cores.
func cpuTime() time.Duration {
	var r unix.Rusage
	if unix.Getrusage(unix.RUSAGE_SELF, &r) != nil {
		return 0
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}
