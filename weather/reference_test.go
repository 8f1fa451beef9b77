package weather_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"
)

// rows reads a CSV file under testdata/weather as one map a row.
func rows(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../testdata/weather/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, record := range all[1:] {
		row := map[string]string{}
		for i, column := range all[0] {
			row[column] = record[i]
		}
		out = append(out, row)
	}
	if len(out) == 0 {
		t.Fatalf("%s has no rows", name)
	}
	return out
}

func number(t *testing.T, row map[string]string, column string) float64 {
	t.Helper()
	n, err := strconv.ParseFloat(row[column], 64)
	if err != nil {
		t.Fatalf("column %s: %v", column, err)
	}
	return n
}
