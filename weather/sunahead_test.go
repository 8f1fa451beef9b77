package weather_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"toeboard/weather"
)

// testdata/weather/reference/sun_position.csv: python3-ephem 4.1.4, no
// refraction. Height within 0.02 degrees; azimuth within 0.02 degrees of arc on
// the sky, which near the zenith is more of the compass.
func TestSunPositionKeepsToTheEphemeris(t *testing.T) {
	t.Parallel()
	worstHeight, worstAside, n := 0.0, 0.0, 0
	for _, row := range rows(t, "reference/sun_position.csv") {
		at, err := time.Parse(time.RFC3339, row["utc"])
		if err != nil {
			t.Fatal(err)
		}
		height, azimuth := weather.SunPosition(at, number(t, row, "lat"), number(t, row, "lon"))
		up := math.Abs(height - number(t, row, "height_deg"))
		aside := math.Abs(math.Remainder(azimuth-number(t, row, "azimuth_deg"), 360)) * math.Cos(height*math.Pi/180)
		worstHeight, worstAside = max(worstHeight, up), max(worstAside, aside)
		if n++; up > 0.02 || aside > 0.02 || azimuth < 0 || azimuth >= 360 {
			t.Errorf("%s %s: height %.4f, azimuth %.4f, want %s, %s", row["site"], row["utc"], height, azimuth, row["height_deg"], row["azimuth_deg"])
		}
	}
	if n < 400 {
		t.Errorf("only %d rows", n)
	}
	t.Logf("%d positions: furthest %.4f° in height, %.4f° sideways", n, worstHeight, worstAside)
}

// The worked example of Reda and Andreas, "Solar Position Algorithm for Solar
// Radiation Applications" (NREL/TP-560-34302, 2008), appendix A.5; the numbers
// are from memory. Its height is without refraction.
func TestSunPositionOfThePublishedExample(t *testing.T) {
	t.Parallel()
	height, azimuth := weather.SunPosition(time.Date(2003, 10, 17, 19, 30, 30, 0, time.UTC), 39.742476, -105.1786)
	near(t, "height", height, 39.872046, 0.02)
	near(t, "azimuth", azimuth, 194.340241, 0.02)
}

// roofDay is a calm dry day of December in England under a sky of some cloud.
func roofDay(cloud weather.Value) weather.Series {
	m := weather.Member{}
	for h := range 48 {
		m.Hours = append(m.Hours, weather.Hour{From: time.Date(2026, 11, 30, h, 0, 0, 0, time.UTC), Span: time.Hour, WindMean: weather.Is(1), WindGust: weather.Is(2), Rain: weather.Is(0),
			Temp: weather.Is(12), DewPoint: weather.Is(2), Humidity: weather.Is(50), Cloud: cloud, Thunder: weather.Is(0), Radiation: weather.Is(50)})
	}
	return weather.Series{Provider: "invented", FetchedAt: time.Date(2026, 12, 1, 6, 0, 0, 0, time.UTC), Members: []weather.Member{m}}
}

func sunWork(task weather.Task, faces weather.Value) weather.Work {
	return weather.Work{Place: weather.Place{Lat: 53.17, Lon: -0.38, Terrain: weather.TerrainIII, HeightM: 7, Faces: faces}, Task: task,
		From: time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC), To: time.Date(2026, 12, 1, 15, 0, 0, 0, time.UTC), Loc: time.UTC, Now: time.Date(2026, 12, 1, 7, 0, 0, 0, time.UTC)}
}

// sunHours are the starts of the hours that are a caution for low sun.
func sunHours(j weather.Judgement) (hours []int) {
	i := slices.IndexFunc(j.Levels, func(l weather.Level) bool { return l.Quantity == weather.LowSun })
	for _, s := range j.Steps {
		if i >= 0 && s.Checks[i].Verdict == weather.Caution {
			hours = append(hours, s.From.Hour())
		}
	}
	return hours
}

// On 1 December at 53.17 N, 0.38 W the sun climbs to 15 degrees. The hours in
// which it stands within 30 degrees of each face, looked for every ten minutes,
// are those of python3-ephem 4.1.4 (from 09:50 to 13:50 for a face to the south);
// a face to the north has it ahead never.
func TestLowSunAheadIsACaution(t *testing.T) {
	t.Parallel()
	dry := weather.DefaultLimits()
	for _, c := range []struct {
		name  string
		task  weather.Task
		faces weather.Value
		cloud weather.Value
		want  []int
	}{
		{"south", weather.RoofCovering, weather.Is(180), weather.Is(40), []int{9, 10, 11, 12, 13}},
		{"south-east", weather.PanelCarrying, weather.Is(135), weather.Is(40), []int{9, 10}},
		{"south-west", weather.Rails, weather.Is(225), weather.Is(40), []int{13, 14}},
		{"north", weather.RoofCovering, weather.Is(0), weather.Is(0), nil},
		{"overcast", weather.RoofCovering, weather.Is(180), weather.Is(90), nil},
		{"cloud not known", weather.RoofCovering, weather.Is(180), weather.Value{}, []int{9, 10, 11, 12, 13}},
		{"scaffold", weather.ScaffoldErection, weather.Is(180), weather.Is(0), nil},
		{"nobody knows where it looks", weather.RoofCovering, weather.Value{}, weather.Is(0), nil},
	} {
		j := weather.Judge(roofDay(c.cloud), dry, sunWork(c.task, c.faces))
		if got := sunHours(j); !slices.Equal(got, c.want) {
			t.Errorf("%s: low sun at %v, want %v: %s", c.name, got, c.want, j.Sentence())
		}
		if told := slices.ContainsFunc(j.Reasons, func(r weather.Reason) bool { return r.Quantity == weather.LowSun }); told != (c.want != nil) {
			t.Errorf("%s: told %v: %v", c.name, told, j.Reasons)
		}
	}
	j := weather.Judge(roofDay(weather.Is(40)), dry, sunWork(weather.RoofCovering, weather.Is(180)))
	i := slices.IndexFunc(j.Reasons, func(r weather.Reason) bool { return r.Quantity == weather.LowSun })
	if i < 0 || !strings.Contains(j.Reasons[i].Sentence(), "° above the horizon, low up to 15°: caution (sun within 30° of where the roof face looks (180° from north)") {
		t.Errorf("it says %v", j.Reasons)
	}
}

// Wherever a roof looks: low sun makes no verdict better, and none worse than a
// caution.
func TestLowSunIsOnlyEverACaution(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		faces := weather.Is(rapid.Float64Range(0, 360).Draw(t, "faces"))
		task := rapid.SampledFrom(weather.OutdoorTasks()).Draw(t, "task")
		s := roofDay(weather.Is(rapid.Float64Range(0, 100).Draw(t, "cloud")))
		for i := range s.Members[0].Hours {
			s.Members[0].Hours[i].WindGust = weather.Is(rapid.SampledFrom([]float64{2, 9, 30}).Draw(t, "gust"))
		}
		w := sunWork(task, faces)
		w.From = w.From.Add(time.Duration(rapid.IntRange(-60, 240).Draw(t, "later")) * time.Minute)
		with := weather.Judge(s, weather.DefaultLimits(), w)
		w.Place.Faces = weather.Value{}
		without := weather.Judge(s, weather.DefaultLimits(), w)
		for i, step := range with.Steps {
			was := without.Steps[i].Verdict
			if step.Verdict != was && (was != weather.Go || step.Verdict != weather.Caution) {
				t.Fatalf("%s: %s without the sun, %s with it", step.From, was, step.Verdict)
			}
		}
	})
}

func TestARoofThatLooksNowhereIsRefused(t *testing.T) {
	t.Parallel()
	for _, faces := range []float64{-1, 360.5} {
		p := weather.Place{Lat: 53, Lon: 0, Terrain: weather.TerrainIII, HeightM: 7, Faces: weather.Is(faces)}
		if err := p.Check(); err == nil || !strings.Contains(err.Error(), "0 to 360") {
			t.Errorf("%v: %v", faces, err)
		}
	}
	rows := weather.DefaultLimits()
	rows.Rows = append(rows.Rows, weather.Limit{Task: weather.RoofCovering, Quantity: weather.LowSun, Stop: weather.Is(15), Unit: "°", Source: "us", Mark: weather.FirmsOwn})
	if err := rows.Check(); err == nil {
		t.Error("low sun is a limit of the firm")
	}
}
