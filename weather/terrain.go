package weather

import (
	"fmt"
	"math"

	"toeboard/weather/fault"
)

// Terrain is a category of EN 1991-1-4, table 4.1: how rough the ground is over
// which the wind comes. Zero is unknown, and an unknown terrain has no wind
// that anyone may rely on.
//
// The standard lets a rougher category be used only where the roughness goes on
// far enough upwind; in doubt choose the smoother one, which gives more wind.
type Terrain int

// The categories, with table 4.1's own descriptions in short.
const (
	TerrainUnknown Terrain = iota
	Terrain0               // sea, or coast open to the sea
	TerrainI               // lakes, flat ground with next to no vegetation and no obstacles
	TerrainII              // low vegetation and single obstacles at least 20 heights apart
	TerrainIII             // villages, suburbs, permanent forest
	TerrainIV              // towns: at least 15% built over, average height above 15 m
)

// roughness holds table 4.1: roughness length and the height below which the
// profile is not used.
var roughness = [...]struct {
	word     string
	z0, zMin float64 // [m]
}{
	TerrainUnknown: {"unknown", math.NaN(), math.NaN()},
	Terrain0:       {"0", 0.003, 1},
	TerrainI:       {"I", 0.01, 1},
	TerrainII:      {"II", 0.05, 2},
	TerrainIII:     {"III", 0.3, 5},
	TerrainIV:      {"IV", 1.0, 10},
}

// zMax is the height up to which EN 1991-1-4 states its profile [m].
const zMax = 200

// ParseTerrain reads "0", "I", "II", "III" or "IV".
func ParseTerrain(s string) (Terrain, error) {
	for t := Terrain0; t <= TerrainIV; t++ {
		if roughness[t].word == s {
			return t, nil
		}
	}
	return TerrainUnknown, fault.Bad("terrain", s, "one of the categories 0, I, II, III, IV of EN 1991-1-4 table 4.1")
}

// Known reports whether the terrain is one of the five categories.
func (t Terrain) Known() bool { return t >= Terrain0 && t <= TerrainIV }

// String writes the category as the standard does, or "unknown".
func (t Terrain) String() string {
	if !t.Known() {
		return roughness[TerrainUnknown].word
	}
	return roughness[t].word
}

// MarshalText writes the category for JSON.
func (t Terrain) MarshalText() ([]byte, error) { return []byte(t.String()), nil }

// UnmarshalText reads what MarshalText writes.
func (t *Terrain) UnmarshalText(b []byte) error {
	if string(b) == roughness[TerrainUnknown].word || len(b) == 0 {
		*t = TerrainUnknown
		return nil
	}
	got, err := ParseTerrain(string(b))
	*t = got
	return err
}

// Profile is the wind at one height over one terrain, as EN 1991-1-4 has it.
// It is used here as a wind profile, not for a structural check; national
// annexes have their own charts.
type Profile struct {
	Kr float64 // terrain factor, eq. 4.5: 0.19 (z0/0.05)^0.07
	Cr float64 // roughness factor, eq. 4.4: kr ln(z/z0), mean wind over basic wind
	Iv float64 // turbulence intensity, eq. 4.7 with kl = c0 = 1: 1/ln(z/z0)
	Ce float64 // exposure factor, eq. 4.8: (1 + 7 Iv) cr²
}

// ProfileAt gives the profile at a height above ground [m], above 0 and up to
// 200. Below the category's zmin the value at zmin is used: among the houses
// the profile says nothing, and a gutter is not calmer for standing low.
func ProfileAt(t Terrain, heightM float64) (Profile, error) {
	if !t.Known() {
		return Profile{}, fault.Bad("terrain", t.String(), "one of the categories 0, I, II, III, IV of EN 1991-1-4 table 4.1")
	}
	if !(heightM > 0 && heightM <= zMax) {
		return Profile{}, fault.Bad("working height", fmt.Sprint(heightM), "metres above ground, more than 0 and at most 200")
	}
	r := roughness[t]
	return profileOver(r.z0, math.Max(heightM, r.zMin)), nil
}

// profileOver gives the profile for a roughness length and a height [m].
func profileOver(z0, heightM float64) Profile {
	log := math.Log(heightM / z0)
	p := Profile{Kr: 0.19 * math.Pow(z0/roughness[TerrainII].z0, 0.07), Iv: 1 / log}
	p.Cr = p.Kr * log
	p.Ce = (1 + 7*p.Iv) * p.Cr * p.Cr
	return p
}

// PeakFactor is peak over mean wind, from the exposure factor: sqrt(1 + 7 Iv).
func (p Profile) PeakFactor() float64 { return math.Sqrt(1 + 7*p.Iv) }
