package weather

import (
	"math"
	"time"
)

// Water on a roof: a model of ours, declared as such, since no published one
// for roof coverings was found. The covering holds a film of water up to a
// depth that depends on what it is made of; rain fills it and what is more runs
// off; the air takes from it what Penman's equation for open water gives, and
// gives it dew where that is negative. Every uncertainty is read to the wet
// side: at the start of a forecast the film is full, an hour whose rain is not
// known fills it, unknown humidity is saturated air, unknown wind is none, an
// unknown sky is overcast by day and clear by night, and ice does not dry.
//
// The balance closes: film after = film before + rain + dew - dried - run off.

// filmCapacity is the film that a pitched covering holds on its face [mm]: ours.
// What is beyond it runs off; what a tile takes in makes nobody slip.
const filmCapacity = 0.3

// mostDew is the most that an hour's dew adds [mm]; a night's dew seldom passes
// 0.5 mm (common knowledge, no source).
const mostDew = 0.05

// FilmStep is the water balance of one step [mm]. After = before + Rain + Dew -
// Dried - RunOff.
type FilmStep struct {
	Rain, Dew, Dried, RunOff, After float64
}

// air is what a film meets in a step; NaN is not known.
type air struct{ rain, temp, humidity, wind, cloud, sun float64 }

// filmStep takes a film [mm] through a step of so many hours.
func filmStep(before, hours float64, a air) FilmStep {
	if !(a.rain >= 0) || !(hours > 0) {
		full := max(0, filmCapacity-before)
		return FilmStep{Rain: full, After: before + full}
	}
	s := FilmStep{Rain: a.rain}
	if before == 0 && a.rain == 0 && a.net() >= 0 {
		return s // dry, and nothing makes dew
	}
	taken := a.drying() * hours
	wet := before + s.Rain
	if taken < 0 {
		s.Dew = min(-taken, mostDew*hours)
	} else {
		s.Dried = min(taken, wet)
	}
	wet += s.Dew - s.Dried
	s.RunOff = max(0, wet-filmCapacity)
	s.After = wet - s.RunOff
	return s
}

// airOf gives what a film meets in a step of a forecast at a place.
func airOf(h *Hour, lat, lon float64) air {
	a := air{orNaN(h.Rain), orNaN(h.Temp), orNaN(h.Humidity), orNaN(h.WindMean), orNaN(h.Cloud), orNaN(h.Radiation)}
	if !h.Radiation.Known {
		a.sun = sunUnder(clearSun(h.From.Add(h.Span/2), lat, lon), a.cloud)
	}
	return a
}

func orNaN(v Value) float64 {
	if !v.Known {
		return math.NaN()
	}
	return v.N
}

// clearSun gives the sun's power on the level under a clear sky [W/m2], for the
// height of the sun after Kasten and Czeplak 1980 (from memory, check against
// the original): 910 sin h - 30.
func clearSun(t time.Time, lat, lon float64) float64 {
	height := SunHeight(t, lat, lon)
	if height <= 0 {
		return 0
	}
	return max(0, 910*math.Sin(rad(height))-30)
}

// sunUnder gives what is left of a clear sky's sun under cloud [%], after the
// same: 1 - 0.75 N^3.4, N the share of sky covered. Unknown cloud is overcast.
func sunUnder(clear, cloud float64) float64 {
	if clear == 0 {
		return 0
	}
	covered := 1.0
	if cloud >= 0 {
		covered = min(1, cloud/100)
	}
	return clear * (1 - 0.75*math.Pow(covered, 3.4))
}

// Constants of Penman's equation in the form of Shuttleworth (Handbook of
// Hydrology, 1993), and of FAO Irrigation and Drainage Paper 56 for the rest;
// from memory, check against the originals.
const (
	gammaKPa    = 0.067 // [kPa/K] psychrometric constant at sea level (FAO 56, annex 2, table 2.2)
	windTo2m    = 0.748 // wind at 2 m over wind at 10 m (FAO 56, equation 47)
	roofShines  = 0.2   // share of the sun's light that a wet dark roof sends back: ours
	clearNight  = 80.0  // [W/m2] that a roof loses to a clear sky: ours, of the order of measured net longwave
	perDayFromW = 0.0864
)

// drying gives what air and sun take from a wet surface [mm/h], negative for
// dew.
//
//	E = (m Rn + 6.43 g (1 + 0.536 u2) d) / ((m + g) l)   [mm/day]
//
// with m the slope of the saturation pressure [kPa/K], Rn the net radiation
// [MJ/m2/day], g the psychrometric constant [kPa/K], u2 the wind at 2 m [m/s], d
// the saturation deficit [kPa] and l the latent heat [MJ/kg].
func (a air) drying() float64 {
	if !(a.temp > 0) {
		return 0
	}
	es := saturation.at(a.temp)
	slope := 4098 * es / ((a.temp + 237.3) * (a.temp + 237.3))
	deficit, wind := 0.0, 0.0
	if a.humidity < 100 {
		deficit = es * (1 - max(0, a.humidity)/100)
	}
	if a.wind > 0 {
		wind = windTo2m * a.wind
	}
	net := perDayFromW * a.net()
	latent := 2.501 - 0.002361*a.temp
	perDay := (slope*net + 6.43*gammaKPa*(1+0.536*wind)*deficit) / ((slope + gammaKPa) * latent)
	return perDay / 24
}

// net gives what sun and sky together bring a roof [W/m2].
func (a air) net() float64 {
	clear := 1.0
	if a.cloud >= 0 {
		clear = 1 - min(100, a.cloud)/100
	}
	return (1-roofShines)*max(0, a.sun) - clearNight*clear
}

// saturation holds SaturationKPa from 0 to 61 C by tenths of a degree; between
// them straight lines are within one part in 50,000.
var saturation = saturationTable{}.fill()

type saturationTable [612]float64

func (t saturationTable) fill() *saturationTable {
	for i := range t {
		t[i] = SaturationKPa(float64(i) / 10)
	}
	return &t
}

// at gives the pressure at a temperature above 0 C.
func (t *saturationTable) at(temp float64) float64 {
	x := min(temp*10, float64(len(t)-2))
	i := int(x)
	return t[i] + (x-float64(i))*(t[i+1]-t[i])
}

// SaturationKPa gives the pressure of saturated water vapour [kPa] over water at
// a temperature [C] (FAO 56, equation 11).
func SaturationKPa(t float64) float64 { return 0.6108 * math.Exp(17.27*t/(t+237.3)) }

// RoofFilmOf gives the water balance of every step of a member, the film full at
// its start, at a place [degrees].
func RoofFilmOf(m *Member, lat, lon float64) []FilmStep {
	film := filmCapacity
	out := make([]FilmStep, len(m.Hours))
	for i := range m.Hours {
		if i > 0 && !m.Hours[i].From.Equal(m.Hours[i-1].From.Add(m.Hours[i-1].Span)) {
			film = filmCapacity // hours nobody speaks of may have been wet
		}
		out[i] = filmStep(film, m.Hours[i].Span.Hours(), airOf(&m.Hours[i], lat, lon))
		film = out[i].After
	}
	return out
}

// film gives the most water on the roof within a step [mm].
func (rs *rules) film(s step) Value {
	if s.index < 0 {
		return Value{}
	}
	films, ok := rs.films[s.member]
	if !ok {
		films = wettest(s.member, rs.place.Lat, rs.place.Lon)
		if rs.films == nil {
			rs.films = map[*Member][]float64{}
		}
		rs.films[s.member] = films
	}
	return Is(films[s.index])
}

// forget drops the films of members that were asked for, before others come.
func (rs *rules) forget() { rs.films = nil }

// wettest gives for each step the larger film of its start and its end.
func wettest(m *Member, lat, lon float64) []float64 {
	out := make([]float64, len(m.Hours))
	before := filmCapacity
	for i, s := range RoofFilmOf(m, lat, lon) {
		out[i] = max(before, s.After)
		before = s.After
	}
	return out
}
