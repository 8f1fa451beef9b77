package weather

import "time"

// A roof facing a clear sky on a calm night stands below the air around it. By
// how much is a declared estimate of ours, no published figure was found: up to
// 4 K, less under cloud and less in wind, while the sun is lower than 10
// degrees. Where cloud or wind is unknown the full 4 K count.
const (
	mostRoofCooling = 4.0            // [K]
	calmEnds        = 4.0            // [m/s] of mean wind at 10 m from which the air keeps the roof warm
	lowSun          = 10.0           // [degrees]
	frostMemory     = 12 * time.Hour // how long rain is taken to lie about in the cold
)

// frostMargin gives by how many kelvin the roof's surface stays clear of frost.
// Frost needs a surface at or below freezing, and water: lying there from
// recent rain, or shed by air at its dew point. Where it was dry and the dew
// point is known, the surface must fall below both.
func (rs *rules) frostMargin(s step) Value {
	h := s.hour()
	if !h.Temp.Known {
		return Value{}
	}
	surface := h.Temp.N
	if SunHeight(s.from, rs.place.Lat, rs.place.Lon) < lowSun {
		surface -= mostRoofCooling * clearness(h.Cloud) * calmness(h.WindMean)
	}
	recent := rainBefore(s, frostMemory)
	if recent.Known && recent.N == 0 && h.Rain.Known && h.Rain.N == 0 && h.DewPoint.Known {
		return Is(max(surface, surface-h.DewPoint.N))
	}
	return Is(surface)
}

func clearness(cloud Value) float64 {
	if !cloud.Known {
		return 1
	}
	return 1 - min(100, max(0, cloud.N))/100
}

func calmness(mean Value) float64 {
	if !mean.Known {
		return 1
	}
	return 1 - min(1, max(0, mean.N)/calmEnds)
}
