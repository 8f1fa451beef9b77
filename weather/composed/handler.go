package composed

import (
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// Path is where the handler answers; the client's BaseURL ends in it.
const Path = "/v1/ensemble"

// maxPlaces is how many places one request may ask for.
const maxPlaces = 1000

// Handler serves composed answers at Path as the ensemble interface does: comma
// lists of places, forecast_days, and the units and the zone that the client
// asks for. Anything else is refused in the interface's own form, so that the
// demonstration tries the real client. now is the server's clock.
func Handler(now func() time.Time, members int, seed uint64) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET "+Path, func(w http.ResponseWriter, r *http.Request) {
		lats, lons, days, err := asked(r)
		w.Header().Set("Content-Type", "application/json; charset=utf-8")
		if err != nil {
			w.WriteHeader(http.StatusBadRequest)
			fmt.Fprintf(w, `{"error":true,"reason":%q}`, err.Error())
			return
		}
		var b []byte
		for i := range lats {
			if i > 0 {
				b = append(b, ',')
			}
			b = append(b, Body(lats[i], lons[i], now(), days, members, seed)...)
		}
		if len(lats) > 1 {
			b = append(append([]byte{'['}, b...), ']')
		}
		w.Header().Set("Content-Length", strconv.Itoa(len(b)))
		_, _ = w.Write(b) // a client that hangs up needs no answer
	})
	return mux
}

// asked reads the request.
func asked(r *http.Request) (lats, lons []float64, days int, err error) {
	q := r.URL.Query()
	for name, want := range map[string]string{"wind_speed_unit": "ms", "timezone": "GMT"} {
		if q.Get(name) != want {
			return nil, nil, 0, fmt.Errorf("composed weather is only given in %s=%s", name, want)
		}
	}
	for name, known := range map[string]string{"precipitation_unit": "mm", "temperature_unit": "celsius"} {
		if got := q.Get(name); got != "" && got != known {
			return nil, nil, 0, fmt.Errorf("composed weather is only given in %s=%s", name, known)
		}
	}
	if lats, err = degrees(q.Get("latitude"), 90); err != nil {
		return nil, nil, 0, fmt.Errorf("latitude: %w", err)
	}
	if lons, err = degrees(q.Get("longitude"), 180); err != nil {
		return nil, nil, 0, fmt.Errorf("longitude: %w", err)
	}
	if len(lats) != len(lons) {
		return nil, nil, 0, fmt.Errorf("%d latitudes and %d longitudes", len(lats), len(lons))
	}
	days = 16
	if text := q.Get("forecast_days"); text != "" {
		if days, err = strconv.Atoi(text); err != nil || days < 1 || days > maxDays {
			return nil, nil, 0, fmt.Errorf("forecast_days must be in range of 1 to %d. Given: %s", maxDays, text)
		}
	}
	return lats, lons, days, nil
}

func degrees(list string, most float64) ([]float64, error) {
	texts := strings.Split(list, ",")
	if len(texts) > maxPlaces {
		return nil, fmt.Errorf("at most %d places. Given: %d", maxPlaces, len(texts))
	}
	var out []float64
	for _, text := range texts {
		n, err := strconv.ParseFloat(text, 64)
		if err != nil || !(math.Abs(n) <= most) {
			return nil, fmt.Errorf("must be in range of -%v to %v degrees. Given: %q", most, most, text)
		}
		out = append(out, n)
	}
	return out, nil
}
