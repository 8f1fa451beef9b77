package main

import (
	"bytes"
	"fmt"
	"os"
	"strconv"
	"time"
)

// peakMemory gives the most memory [bytes] this process held at one time since
// forgetPeak, as Linux counts it (VmHWM, proc_pid_status(5)); 0 elsewhere.
func peakMemory() int64 { return statusOf("VmHWM:") }

// guardMemory ends the process when it holds more than so many bytes: a search
// that does not fit would bring the machine to a halt. The caller calls stop.
func guardMemory(most int64) (stop func()) {
	done := make(chan struct{})
	go func() {
		tick := time.NewTicker(200 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-done:
				return
			case <-tick.C:
				if held := statusOf("VmRSS:"); held > most {
					fmt.Fprintf(os.Stderr, "bench: ended: it holds %.1f GB, --memory allows %.1f GB\n", float64(held)/1e9, float64(most)/1e9)
					os.Exit(1)
				}
			}
		}
	}()
	return func() { close(done) }
}

// statusOf reads one line of the process's status [bytes].
func statusOf(name string) int64 {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	for line := range bytes.Lines(status) {
		if rest, ok := bytes.CutPrefix(line, []byte(name)); ok {
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
