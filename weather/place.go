package weather

import (
	"fmt"
	"math"

	"toeboard/weather/fault"
)

// Place is where the work is.
type Place struct {
	Lat      float64 `json:"lat"`      // [degrees] north positive
	Lon      float64 `json:"lon"`      // [degrees] east positive
	Terrain  Terrain `json:"terrain"`  // EN 1991-1-4 category around the site
	HeightM  float64 `json:"height_m"` // [m] of the work above ground
	Exposure float64 `json:"exposure"` // times the wind on this roof's ridge, hip or eaves, mean and gust alike; 0 is read as 1, below 1 refused
	Faces    Value   `json:"faces"`    // [degrees] clockwise from north to which the roof face looks; not known = low sun is not told
}

// forecastHeightM is the height for which forecasts give the wind [m], over
// open country, which is category II.
const forecastHeightM = 10

// Check says what is wrong with the place, if anything.
func (p Place) Check() error {
	if !(p.Lat >= -90 && p.Lat <= 90) {
		return fault.Bad("latitude", fmt.Sprint(p.Lat), "degrees from -90 to 90")
	}
	if !(p.Lon >= -180 && p.Lon <= 180) {
		return fault.Bad("longitude", fmt.Sprint(p.Lon), "degrees from -180 to 180")
	}
	if p.Exposure != 0 && !(p.Exposure >= 1 && p.Exposure <= 3) {
		return fault.Bad("exposure", fmt.Sprint(p.Exposure), "1 to 3 times the wind; shelter is the terrain's business")
	}
	if p.Faces.Known && !(p.Faces.N >= 0 && p.Faces.N <= 360) {
		return fault.Bad("roof faces", fmt.Sprint(p.Faces.N), "degrees from 0 to 360, clockwise from north")
	}
	_, err := ProfileAt(p.Terrain, p.HeightM)
	return err
}

// windFactors say what the wind at the work is, over the wind in the forecast.
type windFactors struct{ mean, gust float64 }

// factors gives the place's wind factors. The mean wind goes as the roughness
// factor cr. A gust goes as the root of the exposure factor ce: with height the
// mean grows but the gustiness does not, so the gust grows by less; over rough
// ground the mean falls but the gustiness does not, so the gust falls by less.
// Gusts over shelter are therefore never reduced as far as the mean is.
func (p Place) factors() (windFactors, error) {
	if err := p.Check(); err != nil {
		return windFactors{}, err
	}
	here, err := ProfileAt(p.Terrain, p.HeightM)
	if err != nil {
		return windFactors{}, err
	}
	open, err := ProfileAt(TerrainII, forecastHeightM)
	if err != nil {
		return windFactors{}, err
	}
	exposure := math.Max(1, p.Exposure)
	return windFactors{
		mean: exposure * here.Cr / open.Cr,
		gust: exposure * math.Sqrt(here.Ce/open.Ce),
	}, nil
}

// AtWork brings a forecast's mean and gust [m/s at 10 m in open country] to the
// place's terrain and working height. What is unknown stays unknown; a gust
// below its own mean is read as the mean; a missing gust is estimated from the
// mean by GustFrom, and estimated says so.
func (p Place) AtWork(mean, gust Value) (atMean, atGust Value, estimated bool, err error) {
	f, err := p.factors()
	if err != nil {
		return Value{}, Value{}, false, err
	}
	g, estimated := gustOrEstimate(mean, gust)
	return scale(mean, f.mean), scale(g, f.gust), estimated, nil
}

func scale(v Value, by float64) Value {
	if !v.Known {
		return Value{}
	}
	return Is(v.N * by)
}

func gustOrEstimate(mean, gust Value) (Value, bool) {
	switch {
	case gust.Known && mean.Known:
		return Is(math.Max(gust.N, mean.N)), false
	case gust.Known:
		return gust, false
	case mean.Known:
		return Is(GustFrom(mean.N)), true
	default:
		return Value{}, false
	}
}
