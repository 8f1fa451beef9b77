package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"toeboard/weather"
	"toeboard/weather/csvhours"
	"toeboard/weather/fault"
	"toeboard/weather/geohours"
	"toeboard/weather/metno"
	"toeboard/weather/openmeteo"
)

type weatherVerb struct {
	File     string  `arg:"" help:"A forecast: JSON as Open-Meteo, MET Norway or an hourly site forecast (GeoJSON) has it, or a table of hours (CSV). A recording that holds the answer as data, beside status_code and headers, is unwrapped." type:"existingfile"`
	Task     string  `help:"What is to be done: scaffold_erection, scaffold_strike, roof_covering, panel_carrying, rails, ladder_access, external_cable or platform_work." default:"panel_carrying"`
	Terrain  string  `help:"Terrain category of EN 1991-1-4: 0, I, II, III or IV." default:"III"`
	Height   float64 `help:"Working height above ground [m]." default:"7"`
	Exposure float64 `help:"How many times as strong as over open roof the wind is at this roof's ridge, hip and eaves: 1 to 3." default:"1"`
	Faces    float64 `help:"To which direction the roof face looks [degrees clockwise from north], for low sun ahead; not told if left out." default:"nan"`
	Lat      float64 `help:"Latitude of the site [degrees]; that of the answer if left out." default:"nan"`
	Lon      float64 `help:"Longitude of the site [degrees]; that of the answer if left out." default:"nan"`
	Zone     string  `help:"Time zone of the site (IANA)." default:"Europe/London"`
	From     string  `help:"First hour, as 2026-12-01T08:00 in the zone; the file's first hour if left out."`
	Limits   string  `help:"A file of limits as 'toeboard limits' writes it; the usual ones if left out." type:"existingfile" placeholder:"FILE"`
	Hours    int     `help:"How many hours." default:"48"`
	CSV      bool    `help:"Print comma-separated values and nothing else." name:"csv"`
	Fetched  string  `help:"When the file was fetched, as 2026-12-01T06:00 in the zone; the start of the window if left out. It decides whether the forecast is too old."`
}

// Run prints the verdict for each step of the window and what they add up to.
func (v weatherVerb) Run() error { return v.print(os.Stdout, os.Stderr) }

func (v weatherVerb) print(out, notes io.Writer) error {
	w, series, err := v.read()
	if err != nil {
		return err
	}
	limits := weather.DefaultLimits()
	if v.Limits != "" {
		if limits, err = readLimits(v.Limits, notes); err != nil {
			return err
		}
	}
	rows, judgement := weather.Table(series, limits, w)
	if v.CSV {
		return tableCSV(out, rows)
	}
	t := tabwriter.NewWriter(out, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, strings.Join(weather.TableHeader(), "\t"))
	for _, r := range rows {
		fmt.Fprintln(t, strings.Join(r.Cells(), "\t"))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, note := range series.Notes {
		fmt.Fprintln(notes, "note: "+note)
	}
	fmt.Fprintf(out, "\n%s: %s\n", series.Provider, judgement.Sentence())
	if hours := judgement.Hours(w.Loc); hours != "" {
		fmt.Fprintln(out, hours)
	}
	fmt.Fprintln(out, "Guidance, not permission: the people on the roof decide, and local codes come first.")
	return nil
}

func (v weatherVerb) read() (weather.Work, weather.Series, error) {
	var w weather.Work
	body, err := os.ReadFile(v.File)
	if err != nil {
		return w, weather.Series{}, err
	}
	if err := w.Task.UnmarshalText([]byte(v.Task)); err != nil {
		return w, weather.Series{}, err
	}
	loc, err := time.LoadLocation(v.Zone)
	if err != nil {
		return w, weather.Series{}, fault.Bad("--zone", v.Zone, "an IANA time zone such as Europe/London")
	}
	series, err := parseForecast(body)
	if err != nil {
		return w, series, fmt.Errorf("%s: %w", v.File, err)
	}
	return v.work(w, series, loc)
}

// work fills in what the command line leaves to the file.
func (v weatherVerb) work(w weather.Work, series weather.Series, loc *time.Location) (weather.Work, weather.Series, error) {
	terrain, err := weather.ParseTerrain(v.Terrain)
	if err != nil {
		return w, series, err
	}
	w.Place = weather.Place{Lat: orElse(v.Lat, series.Lat), Lon: orElse(v.Lon, series.Lon), Terrain: terrain, HeightM: v.Height, Exposure: v.Exposure, Faces: weather.Is(v.Faces)}
	if w.Place.Lat != w.Place.Lat || w.Place.Lon != w.Place.Lon {
		return w, series, fault.Bad("--lat and --lon", "", "where the site is: the file does not say")
	}
	w.Loc, w.From = loc, series.Members[0].Hours[0].From
	if v.From != "" {
		if w.From, err = clockTime("--from", v.From, loc); err != nil {
			return w, series, err
		}
	}
	if v.Hours < 1 || v.Hours > 24*16 {
		return w, series, fault.Bad("--hours", fmt.Sprint(v.Hours), "1 to 384")
	}
	w.To = w.From.Add(time.Duration(v.Hours) * time.Hour)
	w.Now = w.From
	if v.Fetched != "" {
		if series.FetchedAt, err = clockTime("--fetched", v.Fetched, loc); err != nil {
			return w, series, err
		}
	} else {
		series.FetchedAt = w.Now
	}
	return w, series, w.Place.Check()
}

func orElse(n, other float64) float64 {
	if n != n { // not a number: not given
		return other
	}
	return n
}

// clockTime reads 2026-12-01T08:00 as a clock in loc shows it.
func clockTime(field, s string, loc *time.Location) (time.Time, error) {
	t, err := time.ParseInLocation("2006-01-02T15:04", s, loc)
	if err != nil {
		return t, fault.Bad(field, s, "write it as 2026-12-01T08:00")
	}
	return t.UTC(), nil
}

func tableCSV(out io.Writer, rows []weather.Row) error {
	w := csv.NewWriter(out)
	if err := w.Write(weather.TableHeader()); err != nil {
		return err
	}
	for _, r := range rows {
		if err := w.Write(r.Cells()); err != nil {
			return err
		}
	}
	w.Flush()
	return w.Error()
}

// parseForecast tells by the file's look which reader it is for, and reports
// what that one has against it.
func parseForecast(body []byte) (weather.Series, error) {
	body = unwrapped(body)
	text := string(body)
	switch {
	case !strings.HasPrefix(strings.TrimSpace(text), "{") && !strings.HasPrefix(strings.TrimSpace(text), "["):
		s, err := csvhours.Parse(body, time.Time{})
		s.Lat, s.Lon = math.NaN(), math.NaN() // a table does not say of where it speaks
		return s, err
	case strings.Contains(text, `"timeSeries"`):
		return firstOf(geohours.Parse(body, time.Time{}))
	case strings.Contains(text, `"timeseries"`):
		return metno.Parse(body, time.Time{})
	default:
		return firstOf(openmeteo.Parse(body, time.Time{}))
	}
}

// unwrapped gives the answer out of a recording that keeps it as "data" beside
// the status and the headers it came with, as test collections of weather
// clients do; any other body as it is.
func unwrapped(body []byte) []byte {
	var recording struct {
		Status  json.RawMessage `json:"status_code"`
		Headers json.RawMessage `json:"headers"`
		Data    json.RawMessage `json:"data"`
	}
	if json.Unmarshal(body, &recording) != nil || recording.Status == nil || recording.Headers == nil || recording.Data == nil {
		return body
	}
	return recording.Data
}

func firstOf(all []weather.Series, err error) (weather.Series, error) {
	if err != nil {
		return weather.Series{}, err
	}
	if len(all[0].Members) == 0 || len(all[0].Members[0].Hours) == 0 {
		return weather.Series{}, fault.Bad("forecast", "without hours", "an answer with an hourly part")
	}
	return all[0], nil
}
