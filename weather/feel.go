package weather

import "math"

// Dew point by the Magnus formula with the coefficients 17.625 and 243.04
// (Alduchov and Eskridge 1996): good to about 0.1 K between -40 and 50 C.
const (
	magnusA = 17.625
	magnusB = 243.04 // [degrees C]
)

// DewPoint gives the temperature [C] to which air of a temperature [C] and a
// relative humidity [%], above 0 and up to 100, must cool before it sheds water.
func DewPoint(temp, humidity float64) Value {
	if !(humidity > 0 && humidity <= 100) {
		return Value{}
	}
	g := math.Log(humidity/100) + magnusA*temp/(magnusB+temp)
	return Is(magnusB * g / (magnusA - g))
}

// WindChill gives the equivalent temperature [C] on bare skin (the 2001 index
// of the North American weather services) for air of at most 10 C and a mean
// wind at 10 m above 4.8 km/h; outside that range it is unknown and the air
// temperature speaks for itself. It is guidance for people, not a limit.
func WindChill(temp, meanMs float64) Value {
	kmh := meanMs * 3.6
	if !(temp <= 10 && kmh > 4.8) {
		return Value{}
	}
	v := math.Pow(kmh, 0.16)
	return Is(13.12 + 0.6215*temp - 11.37*v + 0.3965*temp*v)
}

// HeatIndex gives how hot the air feels [C] in the shade for a temperature [C]
// and a relative humidity [%] (Rothfusz's regression with the adjustments of
// the US weather service, which works in degrees F). Where that service uses
// Steadman's simple formula averaged with the air temperature, below 80 F, so
// does this. It is guidance for people, not a limit.
func HeatIndex(temp, humidity float64) Value {
	if !(humidity >= 0 && humidity <= 100) {
		return Value{}
	}
	t, r := temp*9/5+32, humidity
	index := 0.5 * (t + 61 + (t-68)*1.2 + r*0.094)
	if mild := (index + t) / 2; mild < 80 {
		return Is((mild - 32) * 5 / 9)
	}
	index = -42.379 + 2.04901523*t + 10.14333127*r - 0.22475541*t*r - 6.83783e-3*t*t -
		5.481717e-2*r*r + 1.22874e-3*t*t*r + 8.5282e-4*t*r*r - 1.99e-6*t*t*r*r
	switch {
	case r < 13 && t >= 80 && t <= 112:
		index -= (13 - r) / 4 * math.Sqrt((17-math.Abs(t-95))/17)
	case r > 85 && t >= 80 && t <= 87:
		index += (r - 85) / 10 * (87 - t) / 5
	}
	return Is((index - 32) * 5 / 9)
}

// warmFrom is the air temperature [C] below which nobody asks how hot it feels:
// even in saturated air the heat index stays under 25 C there.
const warmFrom = 20

// heat gives what the air of a step feels like in the shade. Only in warm air
// does the humidity matter, and there not knowing it is not knowing.
func heat(h *Hour) Value {
	switch {
	case !h.Temp.Known:
		return Value{}
	case h.Temp.N < warmFrom:
		return h.Temp
	case !h.Humidity.Known:
		return Value{}
	}
	return HeatIndex(h.Temp.N, h.Humidity.N)
}

// cold gives what air of a temperature and a mean wind at the work feels like
// on bare skin: the air temperature where the wind chill does not apply.
func cold(temp, mean Value) Value {
	switch {
	case !temp.Known || temp.N <= 10 && !mean.Known:
		return Value{}
	case temp.N > 10:
		return temp
	}
	if chill := WindChill(temp.N, mean.N); chill.Known {
		return Is(min(temp.N, chill.N))
	}
	return temp
}
