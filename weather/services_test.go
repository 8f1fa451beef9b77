package weather_test

import (
	"slices"
	"strings"
	"testing"

	"toeboard/weather"
	"toeboard/weather/fault"
)

func TestWhichWeatherServicesAFirmMayName(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		order    []string
		together weather.Together
		field    string // "" = fine
	}{
		{[]string{"a"}, weather.FirstAnswers, ""},
		{[]string{"a", "b", "c"}, weather.WorstCounts, ""},
		{nil, weather.FirstAnswers, "services"},
		{strings.Split("abcdefghi", ""), weather.FirstAnswers, "services"},
		{[]string{"a", " "}, weather.FirstAnswers, "services"},
		{[]string{"a", "b", "a"}, weather.WorstCounts, "services"},
		{[]string{"a"}, weather.WorstCounts, "together"},
		{[]string{"a", "b"}, "", "together"},
		{[]string{"a", "b"}, "average", "together"},
	} {
		err := weather.Services{Order: c.order, Together: c.together}.Check()
		if (err == nil) != (c.field == "") || err != nil && (fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), c.field)) {
			t.Errorf("%q %q: %v; want a fault of %q", c.order, c.together, err, c.field)
		}
	}
}

func TestWhatChangedInTheWeatherServices(t *testing.T) {
	t.Parallel()
	was := weather.Services{Order: []string{"a"}, Together: weather.FirstAnswers}
	got := weather.Services{Order: []string{"b", "a"}, Together: weather.WorstCounts}.Changes(was, strings.ToUpper)
	want := []string{"asked: A becomes B, then A", "what counts: the first that answers becomes the worse of those that answer"}
	if !slices.Equal(got, want) || len(was.Changes(was, strings.ToUpper)) != 0 {
		t.Errorf("%q", got)
	}
}
