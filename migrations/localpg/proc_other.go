//go:build unix && !linux

package localpg

// serversOf has no process table to read here; the caller asks the server
// itself.
func serversOf(string) ([]int, bool) { return nil, false }
