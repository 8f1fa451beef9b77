package safety

import (
	"encoding/csv"
	"strings"
)

// ownRows gives the rows of one of this package's own tables without its header.
// A table that cannot be read is a fault of the program, found when it starts.
func ownRows(name, text string) [][]string {
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		panic("safety: " + name + ": " + err.Error())
	}
	return rows[1:]
}
