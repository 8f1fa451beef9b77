package weather_test

import (
	"testing"

	"toeboard/weather"
)

// Magnus formula with 17.625 and 243.04, computed by hand calculator.
func TestDewPoint(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ temp, humidity, want float64 }{
		{20, 50, 9.26}, {10, 80, 6.71}, {0, 90, -1.44}, {-5, 85, -7.13}, {15, 100, 15},
	} {
		near(t, "dew point", weather.DewPoint(c.temp, c.humidity).N, c.want, 0.006)
	}
	if weather.DewPoint(10, 0).Known || weather.DewPoint(10, 101).Known {
		t.Error("a dew point of air without water, or with too much")
	}
}

// 0 C at 20 km/h and -10 C at 40 km/h computed from the published formula; 40 F
// at 5 mph and 10 F at 4 mph from the tests of MetPy (BSD).
func TestWindChill(t *testing.T) {
	t.Parallel()
	fahrenheit := func(f float64) float64 { return (f - 32) * 5 / 9 }
	for _, c := range []struct{ temp, ms, want, within float64 }{
		{0, 20 / 3.6, -5.24, 0.006},
		{-10, 40 / 3.6, -20.77, 0.006},
		{fahrenheit(40), 5 / weather.MphPerMs, fahrenheit(36), 0.3},
		{fahrenheit(10), 4 / weather.MphPerMs, fahrenheit(2.6230789), 0.02},
	} {
		near(t, "wind chill", weather.WindChill(c.temp, c.ms).N, c.want, c.within)
	}
	if weather.WindChill(11, 10).Known || weather.WindChill(5, 1).Known {
		t.Error("a wind chill outside the formula's range")
	}
}

// Values of MetPy's tests (BSD), whole degrees F; 35 C at 70% is 50.3405 C there.
func TestHeatIndex(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ f, humidity, want float64 }{
		{80, 40, 80}, {92, 70, 112}, {96, 65, 121}, {110, 40, 136},
	} {
		got := weather.HeatIndex((c.f-32)*5/9, c.humidity).N*9/5 + 32
		near(t, "heat index", got, c.want, 0.51)
	}
	near(t, "heat index", weather.HeatIndex(35, 70).N, 50.3405, 0.001)
	if weather.HeatIndex(30, -1).Known {
		t.Error("a heat index of impossible air")
	}
}
