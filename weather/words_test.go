package weather_test

import (
	"encoding/json"
	"strings"
	"testing"

	"toeboard/weather"
)

// What is stored as a word comes back as the same thing; what is no such word
// is an error that names it and leaves the unknown.
func TestWordsSurviveJSON(t *testing.T) {
	t.Parallel()
	type all struct {
		Verdict  weather.Verdict
		Quantity weather.Quantity
		Task     weather.Task
		Terrain  weather.Terrain
		Value    weather.Value
	}
	for v := weather.Unknown; v <= weather.Go; v++ {
		for q := weather.QuantityUnknown; q <= weather.LowSun; q++ {
			for task := weather.TaskUnknown; task <= weather.Outdoors; task++ {
				for terrain := weather.TerrainUnknown; terrain <= weather.TerrainIV; terrain++ {
					in := all{v, q, task, terrain, weather.Value{}}
					if terrain.Known() {
						in.Value = weather.Is(float64(terrain) / 3)
					}
					text, err := json.Marshal(in)
					if err != nil {
						t.Fatal(err)
					}
					var out all
					if err := json.Unmarshal(text, &out); err != nil || out != in {
						t.Fatalf("%s came back as %+v, %v", text, out, err)
					}
				}
			}
		}
	}
	for _, bad := range []string{`{"Verdict":"fine"}`, `{"Quantity":"fog"}`, `{"Task":"dancing"}`, `{"Terrain":"V"}`, `{"Value":"calm"}`} {
		out := all{weather.Go, weather.Rain, weather.Indoors, weather.TerrainIV, weather.Is(1)}
		if err := json.Unmarshal([]byte(bad), &out); err == nil {
			t.Errorf("%s became %+v", bad, out)
		}
	}
	var v weather.Verdict = weather.Go
	if err := v.UnmarshalText([]byte("clear")); err == nil || v != weather.Unknown {
		t.Errorf("a word that is no verdict left %s, %v", v, err)
	}
}

func TestWorseIsWhatACrewMustFollow(t *testing.T) {
	t.Parallel()
	order := []weather.Verdict{weather.Stop, weather.Unknown, weather.Caution, weather.Go}
	for i, a := range order {
		for k, b := range order {
			if got, want := weather.Worse(a, b), order[min(i, k)]; got != want {
				t.Errorf("worse of %s and %s is %s, want %s", a, b, got, want)
			}
		}
	}
	// A number that is no verdict is unknown, whatever stands beside it.
	for _, b := range []weather.Verdict{weather.Unknown, weather.Go} {
		if got := weather.Worse(weather.Verdict(17), b); got != weather.Unknown {
			t.Errorf("worse of 17 and %s is %s", b, got)
		}
	}
}

func TestBadClimateRowsAreRefusedByName(t *testing.T) {
	t.Parallel()
	const header = "task,terrain,month,half,half_days,workable\n"
	for row, says := range map[string]string{
		"roof_dancing,II,1,morning,31,20":        "roof_dancing",
		"roof_covering,VII,1,morning,31,20":      "VII",
		"roof_covering,II,13,morning,31,20":      "month",
		"roof_covering,II,January,morning,31,20": "January",
		"roof_covering,II,1,evening,31,20":       "evening",
		"roof_covering,II,1,morning,31,32":       "workable",
		"roof_covering,II,1,morning,-1,-2":       "-1",
		"roof_covering,II,1,morning,31":          "six columns",
	} {
		if rows, err := weather.ParseClimate([]byte(header + row)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, %v", row, rows, err)
		}
	}
}

func TestIndoorWorkSaysSo(t *testing.T) {
	t.Parallel()
	if s := judge(weather.Series{}, weather.Indoors).Sentence(); s != "go: indoor work has no weather limit" {
		t.Errorf("%s", s)
	}
}
