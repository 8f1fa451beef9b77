// Package composed makes up weather for a demonstration without a network: an
// answer in the shape of Open-Meteo's ensemble interface, which the real client
// fetches over loopback and the real reader reads. It is synthetic and says so
// in every answer; nobody may plan work by it.
//
// The made-up sky is one function of place and time, so that a day already
// forecast comes true: fronts with rain and wind move from west to east between
// calmer spells, days are warmer and windier than nights, winters wetter and
// windier than summers, coasts windier than the middle of England. A forecast is
// that sky seen with errors that grow with lead time, a different one for every
// member. The same place, day and seed give the same answer byte for byte, and
// forecasts of a day made on later days come closer to it and to each other.
//
// The figures are chosen to look like Britain; they are nobody's measurements.
package composed

import (
	"math"
	"time"
)

// epoch is where the made-up sky's clock starts.
var epoch = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// sky is the weather of one instant at one place.
type sky struct {
	mean    float64 // [m/s] at 10 m
	gusty   float64 // gust over mean
	rain    float64 // [mm/h]
	temp    float64 // [degrees C]
	dew     float64 // [degrees C]
	cloud   float64 // [%]
	thunder bool
}

// place is what of a place the sky depends on.
type place struct {
	lat, lon float64
	delay    float64 // [h] by which weather from the west comes later than at 2 degrees west
	exposure float64 // times the wind inland
}

func placeAt(lat, lon float64) place {
	// Weather travels at 12 m/s; a degree of longitude is some 67 km here.
	const hoursPerDegree = 67.0 / (12 * 3.6)
	// Everything far from the middle of England counts as coast.
	inland := math.Exp(-sq((lon+1.6)/1.9) - sq((lat-52.8)/2.2))
	return place{lat: lat, lon: lon, delay: (lon + 2) * hoursPerDegree, exposure: 1 + 0.35*(1-inland)}
}

// mistake is how a forecast sees the sky: too early or late, too much or little
// wind, too warm or cold.
type mistake struct {
	shift float64 // [h]
	wind  float64 // [m/s]
	temp  float64 // [K]
}

// monthMean is the air temperature by month at 52 degrees north [degrees C].
var monthMean = [12]float64{4.5, 4.8, 6.5, 8.8, 12, 14.8, 16.8, 16.5, 14.2, 10.9, 7.4, 5.1}

// at gives the sky over a place at an instant, as the mistake has it.
func at(seed uint64, p place, t time.Time, m mistake) sky {
	hours := t.Sub(epoch).Hours()
	weather := hours - p.delay + m.shift // what has arrived from the west
	season := math.Cos(2 * math.Pi * (float64(t.YearDay()) - 20) / 365.25)
	unsettled := regime(seed, weather) + 0.12*season + 0.03*(p.lat-53)
	front := frontsAt(seed, weather, season)
	sun := solarHour(t, p.lon)

	var s sky
	s.cloud = clamp(52+45*unsettled+30*wave(seed, 1, weather/9), 0, 100)
	s.cloud = math.Max(s.cloud, 100*math.Min(1, 1.6*front.rain))
	day := math.Max(0, math.Sin(math.Pi*(sun-6)/12.5)) // a bump from six to half past six
	clear := 1 - s.cloud/130
	s.mean = 3.6 + 1.0*season + 1.6*unsettled + 5.5*front.wind + 0.9*wave(seed, 2, weather/14) + 2.8*wave(seed, 5, weather/60) + 0.8*day*clear
	s.mean = math.Max(0.4, p.exposure*s.mean+m.wind)
	s.gusty = 1.5 + 0.12*wave(seed, 3, weather/5) + 0.15*day*clear + 0.2*math.Min(1, front.showers)

	s.rain = 3.4*front.rain + 2.5*front.showers - 0.5
	if s.rain < 0.08 {
		s.rain = 0
	}
	s.thunder = season < -0.3 && front.showers > 0.75 && sun > 12 && sun < 20

	amplitude := (2.4 - 1.5*season) * clear
	s.temp = between(monthMean[:], t) - 0.55*(p.lat-52) + 3.6*wave(seed, 4, weather/70) + 2.4*season*unsettled + amplitude*math.Cos(2*math.Pi*(sun-15)/24) - 1.5*front.rain + m.temp
	spread := 1.2 + 3.5*clear + 2.5*day*clear
	if s.rain > 0 {
		spread = 0.8
	}
	s.dew = s.temp - spread
	return s
}

// regime runs between settled (-1) and unsettled (1) over days.
func regime(seed uint64, hours float64) float64 {
	return clamp(0.8*wave(seed, 10, hours/110)+0.45*wave(seed, 11, hours/47), -1, 1)
}

// fronts are what the fronts near an instant bring, each from 0 to about 1.
type fronts struct{ rain, wind, showers float64 }

// frontsAt adds up the fronts that pass near an instant. Every slot of 17 hours
// may have one; more slots do while the regime is unsettled.
func frontsAt(seed uint64, hours, season float64) fronts {
	const slot = 17.0
	var f fronts
	k := math.Floor(hours / slot)
	for n := k - 2; n <= k+2; n++ {
		pick := func(salt uint64) float64 { return unit(seed, 20+salt, int64(n)) }
		centre := (n + pick(0)) * slot
		if regime(seed, centre)+1.1*(pick(1)-0.5)+0.1*season < 0.12 {
			continue
		}
		strength := 0.25 + 0.75*pick(2)
		width := 1.0 + 2.2*pick(3)
		since := hours - centre
		f.rain += strength * math.Exp(-sq(since/width))
		f.wind += strength * math.Exp(-sq((since+1)/(width+3.5)))
		if since > width && since < width+10 && wave(seed, 40, hours*0.9) > 0.45 {
			f.showers += strength * (wave(seed, 40, hours*0.9) - 0.45) * 2
		}
	}
	return f
}

// wave is smooth noise from -1 to 1 with a new direction every unit of x.
func wave(seed, salt uint64, x float64) float64 {
	i := math.Floor(x)
	a, b := unit(seed, salt, int64(i)), unit(seed, salt, int64(i)+1)
	s := (1 - math.Cos(math.Pi*(x-i))) / 2
	return 2*(a+(b-a)*s) - 1
}

// unit gives a number from 0 to 1 that seed, salt and n settle: the finaliser
// of SplitMix64 (Steele, Lea and Flood 2014).
func unit(seed, salt uint64, n int64) float64 {
	z := seed + salt*0x9e3779b97f4a7c15 + uint64(n)*0xd1342543de82ef95
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return float64((z^z>>31)>>11) / (1 << 53)
}

// between gives a month's figure, sliding from the middle of one month to the
// middle of the next.
func between(months []float64, t time.Time) float64 {
	x := float64(t.YearDay()-1)/365.25*12 - 0.5
	i := math.Floor(x)
	a, b := months[(int(i)+12)%12], months[(int(i)+13)%12]
	return a + (b-a)*(x-i)
}

// solarHour is the hour of the day by the sun.
func solarHour(t time.Time, lon float64) float64 {
	return math.Mod(float64(t.Hour())+float64(t.Minute())/60+lon/15+24, 24)
}

func sq(x float64) float64 { return x * x }

func clamp(x, low, high float64) float64 { return math.Min(high, math.Max(low, x)) }
