package main

import (
	"bytes"
	"os"
	"strconv"
)

// peakMemory gives the most memory [bytes] this process held at one time since
// forgetPeak, as Linux counts it (VmHWM, proc_pid_status(5)); 0 elsewhere.
func peakMemory() int64 {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	for line := range bytes.Lines(status) {
		if rest, ok := bytes.CutPrefix(line, []byte("VmHWM:")); ok {
			fields := bytes.Fields(rest)
			if len(fields) == 0 {
				return 0
			}
			kb, err := strconv.ParseInt(string(fields[0]), 10, 64)
			if err != nil {
				return 0
			}
			return kb * 1024
		}
	}
	return 0
}

// forgetPeak sets the mark back to what is held now (proc_pid_clear_refs(5));
// where that cannot be done the peak is that of the whole run.
func forgetPeak() { _ = os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) }
