package weather

import (
	"math"
	"time"

	"toeboard/weather/civil"
)

// SunKind says whether the sun crosses a height on that day at all.
type SunKind int

// The kinds. The zero value is unknown, as for a place that is none.
const (
	SunUnknown     SunKind = iota
	SunCrosses             // it does, at the instant given
	SunAlwaysAbove         // it stays above all day: no night to wait for
	SunAlwaysBelow         // it stays below all day: no light to work by
)

// String names the kind in words.
func (k SunKind) String() string {
	switch k {
	case SunCrosses:
		return "crosses"
	case SunAlwaysAbove:
		return "always above"
	case SunAlwaysBelow:
		return "always below"
	default:
		return "unknown"
	}
}

// SunTime is one event of a day; At is in UTC and set only when Kind is
// SunCrosses.
type SunTime struct {
	Kind SunKind
	At   time.Time
}

// SunDay holds the sun's events around one solar noon. Dawn and Rise come
// before that noon and Set and Dusk after it, so in a northern June the dusk
// may fall on the next date.
type SunDay struct {
	Noon      time.Time // UTC, when the sun stands highest
	Dawn      SunTime   // centre of the sun 6 degrees below: civil twilight begins
	Rise, Set SunTime   // upper limb on the horizon with 34' of refraction
	Dusk      SunTime   // civil twilight ends
}

// Heights of the sun's centre for the events [degrees].
const (
	riseHeight     = -(34.0 + 16.0) / 60 // refraction 34' and half the sun's disc 16'
	twilightHeight = -6.0
)

// Sun gives the events of a date at a place, latitude and longitude in degrees,
// north and east positive. The date is that of a clock in loc; the noon meant
// is the one nearest to 12:00 on that clock. No refraction but the usual 34', no
// hills. Within a minute of an ephemeris below 65 degrees; near the poles the
// sun grazes the horizon and minutes mean little.
func Sun(d civil.Date, lat, lon float64, loc *time.Location) SunDay {
	if !(math.Abs(lat) <= 90 && math.Abs(lon) <= 180) || !d.Known() || loc == nil {
		return SunDay{}
	}
	noon := daysSinceJ2000(d.At(12, 0, loc))
	for range 3 {
		noon -= sunAt(noon).hourAngle(lon) / turnPerDay
	}
	morning := func(height float64) SunTime { return crossing(noon, -1, height, lat, lon) }
	evening := func(height float64) SunTime { return crossing(noon, +1, height, lat, lon) }
	return SunDay{
		Noon: instant(noon),
		Dawn: morning(twilightHeight), Rise: morning(riseHeight),
		Set: evening(riseHeight), Dusk: evening(twilightHeight),
	}
}

// SunHeight gives the height of the sun's centre above the horizon [degrees] at
// an instant, without refraction.
func SunHeight(t time.Time, lat, lon float64) float64 {
	n := daysSinceJ2000(t)
	return sunAt(n).height(lat, lon)
}

// SunPosition gives the height of the sun's centre above the horizon, without
// refraction, and its azimuth clockwise from north, from 0 to below 360 [both
// degrees], at an instant; Meeus (13.5) and (13.6).
func SunPosition(t time.Time, lat, lon float64) (height, azimuth float64) {
	n := daysSinceJ2000(t)
	s := sunAt(n)
	phi, hour := rad(lat), rad(s.hourAngle(lon))
	fromSouth := math.Atan2(math.Sin(hour), math.Cos(hour)*math.Sin(phi)-math.Tan(s.declination)*math.Cos(phi))
	return s.height(lat, lon), math.Mod(fromSouth*180/math.Pi+540, 360)
}

// crossing finds the instant on one side of noon (-1 before, +1 after) at which
// the sun's centre stands at a height.
func crossing(noon float64, side, height, lat, lon float64) SunTime {
	midnight := noon + side*0.5
	if sunAt(noon).height(lat, lon) < height {
		return SunTime{Kind: SunAlwaysBelow}
	}
	if sunAt(midnight).height(lat, lon) > height {
		return SunTime{Kind: SunAlwaysAbove}
	}
	// The sun's declination moves while it travels: ask for the hour angle at
	// the declination of the last guess until the guess stands still.
	t := noon + side*0.25
	for range 6 {
		s := sunAt(t)
		step := (side*s.hourAngleAt(height, lat) - s.hourAngle(lon)) / turnPerDay
		t = math.Max(noon-0.5, math.Min(noon+0.5, t+step))
		if math.Abs(step) < 1e-6 {
			break
		}
	}
	return SunTime{Kind: SunCrosses, At: instant(t)}
}

// turnPerDay is by how many degrees the sun's hour angle grows in a day, to
// within the equation of time.
const turnPerDay = 360.0

// sun is where the sun stands: declination and right ascension in radians, and
// the sidereal time at Greenwich in degrees for the same instant.
type sun struct{ declination, ascension, sidereal float64 }

// sunAt gives the sun's apparent place after Meeus, Astronomical Algorithms,
// 2nd edition, chapter 25, "low accuracy" (0.01 degree), and the sidereal time
// of chapter 12. days is counted from J2000.0 in UT; the 70 s to dynamical time
// move the sun by less than a thousandth of a degree.
func sunAt(days float64) sun {
	t := days / 36525
	l0 := 280.46646 + t*(36000.76983+t*0.0003032)         // (25.2)
	m := rad(357.52911 + t*(35999.05029-t*0.0001537))     // (25.3)
	c := (1.914602-t*(0.004817+t*0.000014))*math.Sin(m) + // equation of centre
		(0.019993-t*0.000101)*math.Sin(2*m) + 0.000289*math.Sin(3*m)
	node := rad(125.04 - 1934.136*t)
	lambda := rad(l0 + c - 0.00569 - 0.00478*math.Sin(node))     // apparent longitude
	eps := rad(23.439291 - t*0.0130042 + 0.00256*math.Cos(node)) // (22.2), (25.8)
	sinL := math.Sin(lambda)
	return sun{
		declination: math.Asin(math.Sin(eps) * sinL),                       // (25.7)
		ascension:   math.Atan2(math.Cos(eps)*sinL, math.Cos(lambda)),      // (25.6)
		sidereal:    280.46061837 + 360.98564736629*days + t*t*0.000387933, // (12.4)
	}
}

// hourAngle gives the sun's hour angle at a longitude [degrees], from -180 to
// 180, negative before noon.
func (s sun) hourAngle(lon float64) float64 {
	h := math.Mod(s.sidereal+lon-s.ascension*180/math.Pi, 360)
	switch {
	case h > 180:
		return h - 360
	case h < -180:
		return h + 360
	}
	return h
}

// hourAngleAt gives the hour angle [degrees, positive] at which the sun stands
// at a height, Meeus (15.1); 0 or 180 when it does not get there.
func (s sun) hourAngleAt(height, lat float64) float64 {
	phi := rad(lat)
	x := (math.Sin(rad(height)) - math.Sin(phi)*math.Sin(s.declination)) / (math.Cos(phi) * math.Cos(s.declination))
	return math.Acos(math.Max(-1, math.Min(1, x))) * 180 / math.Pi
}

// height gives the sun's height [degrees], Meeus (13.6).
func (s sun) height(lat, lon float64) float64 {
	phi := rad(lat)
	x := math.Sin(phi)*math.Sin(s.declination) + math.Cos(phi)*math.Cos(s.declination)*math.Cos(rad(s.hourAngle(lon)))
	return math.Asin(math.Max(-1, math.Min(1, x))) * 180 / math.Pi
}

var j2000 = time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC)

func daysSinceJ2000(t time.Time) float64 { return t.Sub(j2000).Hours() / 24 }

func instant(days float64) time.Time {
	return j2000.Add(time.Duration(math.Round(days*86400)) * time.Second)
}

func rad(degrees float64) float64 { return degrees * math.Pi / 180 }
