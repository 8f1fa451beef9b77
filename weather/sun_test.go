package weather_test

import (
	"math"
	"testing"
	"time"
	_ "time/tzdata" // the zones of the table, wherever the test runs

	"toeboard/weather"
	"toeboard/weather/civil"
)

// testdata/weather/reference/sunrise.csv: python3-ephem 4.1.4. Below 65 degrees
// every event within 60 s; beyond, the kind exactly and five minutes, where the
// sun grazes the horizon.
func TestSunKeepsToTheEphemeris(t *testing.T) {
	t.Parallel()
	worst, worstPolar := time.Duration(0), time.Duration(0)
	for _, row := range rows(t, "reference/sunrise.csv") {
		loc, err := time.LoadLocation(row["tz"])
		if err != nil {
			t.Fatal(err)
		}
		lat, lon := number(t, row, "lat"), number(t, row, "lon")
		day := weather.Sun(civil.MustParse(row["date"]), lat, lon, loc)
		got := map[string]weather.SunTime{
			"civil_dawn": day.Dawn, "sunrise": day.Rise, "sunset": day.Set, "civil_dusk": day.Dusk,
			"solar_noon": {Kind: weather.SunCrosses, At: day.Noon},
		}[row["event"]]
		name := row["site"] + " " + row["date"] + " " + row["event"]
		want, ok := map[string]weather.SunKind{"always_below": weather.SunAlwaysBelow, "always_above": weather.SunAlwaysAbove}[row["utc"]]
		if !ok {
			want = weather.SunCrosses
		}
		if got.Kind != want {
			t.Errorf("%s: %s, want %s", name, got.Kind, want)
			continue
		}
		if want != weather.SunCrosses {
			continue
		}
		at, err := time.Parse(time.RFC3339, row["utc"])
		if err != nil {
			t.Fatal(err)
		}
		off := got.At.Sub(at).Abs()
		if math.Abs(lat) < 65 {
			worst = max(worst, off)
			if off > 60*time.Second {
				t.Errorf("%s: %s, want %s", name, got.At, at)
			}
			continue
		}
		worstPolar = max(worstPolar, off)
		if off > 5*time.Minute {
			t.Errorf("%s: %s, want %s", name, got.At, at)
		}
	}
	t.Logf("furthest from the ephemeris: %s below 65 degrees, %s beyond", worst, worstPolar)
}

func TestSunOfNoPlaceIsUnknown(t *testing.T) {
	t.Parallel()
	d := civil.MustParse("2026-12-01")
	for _, day := range []weather.SunDay{
		weather.Sun(d, 91, 0, time.UTC), weather.Sun(d, math.NaN(), 0, time.UTC),
		weather.Sun(d, 0, 181, time.UTC), weather.Sun(civil.NoDate, 0, 0, time.UTC), weather.Sun(d, 0, 0, nil),
	} {
		if day.Rise.Kind != weather.SunUnknown || day.Dusk.Kind != weather.SunUnknown {
			t.Errorf("a sun where there is none: %+v", day)
		}
	}
}

func TestSunHeightIsZeroishWhenItRises(t *testing.T) {
	t.Parallel()
	day := weather.Sun(civil.MustParse("2026-12-01"), 53.8, -1.5, time.UTC)
	near(t, "height at sunrise", weather.SunHeight(day.Rise.At, 53.8, -1.5), -50.0/60, 0.01)
	near(t, "height at dusk", weather.SunHeight(day.Dusk.At, 53.8, -1.5), -6, 0.01)
}
