package weather_test

import (
	"testing"

	"pgregory.net/rapid"

	"toeboard/weather"
)

// A limit that somebody else sets tightens and never loosens, whatever it is and
// whatever the firm's own are; the other tasks and quantities stay as they are. The
// start values are those of limits.csv: caution 12.5 and stop 15.65 m/s (35 mph).
func TestAGustLimitTightens(t *testing.T) {
	t.Parallel()
	start := weather.DefaultLimits()
	for stop, want := range map[float64][2]float64{12: {12, 12}, 14: {12.5, 14}, 15.65: {12.5, 15.65}, 30: {12.5, 15.65}} {
		l := start.WithGust(weather.Is(stop), "limit of a yard", weather.ScaffoldErection)
		row, ok := l.Row(weather.ScaffoldErection, weather.WindGust)
		if !ok || row.Caution.N != want[0] || row.Stop.N != want[1] || (row.Source == "limit of a yard") != (stop < 15.65) {
			t.Errorf("%v m/s: %+v", stop, row)
		}
		if err := l.Check(); err != nil {
			t.Errorf("%v m/s: %v", stop, err)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		l := start.WithGust(weather.Is(rapid.Float64Range(1, 40).Draw(t, "stop")), "x", weather.ScaffoldErection, weather.ScaffoldStrike)
		for _, task := range weather.OutdoorTasks() {
			for q := weather.WindMean; q.Known(); q++ {
				was, had := start.Row(task, q)
				now, has := l.Row(task, q)
				gang := task == weather.ScaffoldErection || task == weather.ScaffoldStrike
				switch {
				case had != has, (!gang || q != weather.WindGust) && was != now:
					t.Fatalf("%s, %s: %+v became %+v", task, q, was, now)
				case had && q == weather.WindGust && (now.Stop.N > was.Stop.N || now.Caution.N > was.Caution.N):
					t.Fatalf("%s is looser: %+v became %+v", task, was, now)
				}
			}
		}
	})
}
