// Package csvhours reads a forecast or a record from a plain table of hours, as
// any spreadsheet writes one.
package csvhours

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"toeboard/weather"
	"toeboard/weather/fault"
)

// Provider is the name of such tables in the archive.
const Provider = "table of hours"

const maxRows = 1_000_000 // over a century

// unit is how a unit is written in a heading and what brings it to ours.
type unit struct {
	name        string
	times, plus float64
}

// column is a quantity that a table may have: its name, the units that it may
// be given in, and what it can be.
type column struct {
	name  string
	units []unit
	fits  weather.Range
	into  func(h *weather.Hour) *weather.Value
}

var (
	speeds = []unit{{"m/s", 1, 0}, {"km/h", 1 / 3.6, 0}, {"mph", 0.44704, 0}, {"kn", 1852.0 / 3600, 0}} // exact: mile 1609.344 m, sea mile 1852 m
	depths = []unit{{"mm", 1, 0}, {"in", 25.4, 0}}
	warmth = []unit{{"C", 1, 0}, {"F", 5.0 / 9, -160.0 / 9}}
)

var columns = []column{
	{"wind_mean", speeds, weather.WindRange, func(h *weather.Hour) *weather.Value { return &h.WindMean }},
	{"wind_gust", speeds, weather.GustRange, func(h *weather.Hour) *weather.Value { return &h.WindGust }},
	{"rain", depths, weather.RainRange, func(h *weather.Hour) *weather.Value { return &h.Rain }},
	{"temp", warmth, weather.TempRange, func(h *weather.Hour) *weather.Value { return &h.Temp }},
	{"dew_point", warmth, weather.TempRange, func(h *weather.Hour) *weather.Value { return &h.DewPoint }},
	{"humidity", []unit{{"%", 1, 0}}, weather.PercentRange, func(h *weather.Hour) *weather.Value { return &h.Humidity }},
	{"cloud", []unit{{"%", 1, 0}}, weather.PercentRange, func(h *weather.Hour) *weather.Value { return &h.Cloud }},
	{"thunder", []unit{{"0/1", 1, 0}}, weather.FractionRange, func(h *weather.Hour) *weather.Value { return &h.Thunder }},
	{"visibility", []unit{{"m", 1, 0}, {"km", 1000, 0}}, weather.VisibilityRange, func(h *weather.Hour) *weather.Value { return &h.Visibility }},
	{"radiation", []unit{{"W/m2", 1, 0}}, weather.RadiationRange, func(h *weather.Hour) *weather.Value { return &h.Radiation }},
}

// Columns gives every heading that Parse reads, for a help text.
func Columns() []string {
	list := []string{"from"}
	for _, c := range columns {
		for _, u := range c.units {
			list = append(list, c.name+" ["+u.name+"]")
		}
	}
	return list
}

// reads is one column of a file.
type reads struct {
	column
	unit
	at int
}

// Parse reads a table with a heading line. The column "from" holds the start of
// each hour, in UTC or with an offset (2026-11-26T09:00Z); the others hold what
// was or will be within that hour, each with its unit in the heading, such as
// "wind_gust [mph]". Empty cells are unknown. Hours are in order, none twice;
// missing ones are there as unknown. A column that is not known, a unit that is
// not known and a number that is none are refused by line and name; a number
// that cannot be weather is read as unknown and noted.
//
// A table does not say which place it speaks of: Lat and Lon are the caller's.
func Parse(body []byte, fetchedAt time.Time) (weather.Series, error) {
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(body, []byte("\xef\xbb\xbf"))))
	r.ReuseRecord, r.TrimLeadingSpace = true, true
	head, err := r.Read()
	if err != nil {
		return weather.Series{}, &fault.Error{Kind: fault.Invalid, Field: "table", Want: "CSV with a heading line that begins with from", Err: err}
	}
	from, list, err := heading(head)
	if err != nil {
		return weather.Series{}, err
	}
	s := weather.Series{Provider: Provider, FetchedAt: fetchedAt.UTC()}
	odd := 0
	var hours []weather.Hour
	for {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return weather.Series{}, &fault.Error{Kind: fault.Invalid, Field: "table", Want: "as many cells in each line as in the heading", Err: err}
		}
		line, _ := r.FieldPos(0)
		h, bad, err := hourOf(record, from, list)
		if err != nil {
			return weather.Series{}, fmt.Errorf("line %d: %w", line, err)
		}
		odd += bad
		if hours, err = appendHour(hours, h); err != nil {
			return weather.Series{}, fmt.Errorf("line %d: %w", line, err)
		}
	}
	if len(hours) == 0 {
		return weather.Series{}, fault.Bad("table", "without hours", "at least one line after the heading")
	}
	if odd > 0 {
		s.Notes = append(s.Notes, fmt.Sprintf("%d values cannot be weather and are read as unknown", odd))
	}
	s.Members = []weather.Member{{Hours: hours}}
	return s, nil
}

func heading(head []string) (from int, list []reads, err error) {
	from = -1
	for i, name := range head {
		name = strings.TrimSpace(name)
		if name == "from" {
			if from >= 0 {
				return 0, nil, fault.Bad("heading", name, "each column once")
			}
			from = i
			continue
		}
		c, err := columnOf(name)
		if err != nil {
			return 0, nil, err
		}
		if slices.ContainsFunc(list, func(o reads) bool { return o.column.name == c.column.name }) {
			return 0, nil, fault.Bad("heading", name, "each column once")
		}
		c.at = i
		list = append(list, c)
	}
	if from < 0 {
		return 0, nil, fault.Bad("heading", strings.Join(head, ","), "a column named from, the start of each hour in UTC")
	}
	return from, list, nil
}

func columnOf(text string) (reads, error) {
	name, rest, _ := strings.Cut(text, "[")
	given := strings.TrimSpace(strings.TrimSuffix(rest, "]"))
	for _, c := range columns {
		if c.name != strings.TrimSpace(name) {
			continue
		}
		for _, u := range c.units {
			if u.name == given {
				return reads{column: c, unit: u}, nil
			}
		}
		return reads{}, fault.Bad("unit of "+c.name, given, "one of "+unitsOf(c))
	}
	return reads{}, fault.Bad("heading", text, "one of "+strings.Join(Columns(), ", "))
}

func unitsOf(c column) string {
	var names []string
	for _, u := range c.units {
		names = append(names, "["+u.name+"]")
	}
	return strings.Join(names, ", ")
}

func hourOf(record []string, from int, list []reads) (h weather.Hour, odd int, err error) {
	text := strings.TrimSpace(record[from])
	at, err := time.Parse("2006-01-02T15:04Z07:00", text)
	if err != nil {
		at, err = time.Parse(time.RFC3339, text)
	}
	if err != nil || !at.Equal(at.Truncate(time.Hour)) {
		return h, 0, fault.Bad("from", text, "the start of a whole hour with its offset, such as 2026-11-26T09:00Z")
	}
	h.From, h.Span = at.UTC(), time.Hour
	for _, c := range list {
		cell := strings.TrimSpace(record[c.at])
		if cell == "" {
			continue
		}
		n, err := strconv.ParseFloat(cell, 64)
		if err != nil {
			return h, 0, fault.Bad(c.column.name, cell, "a number, or nothing where it is not known")
		}
		v := c.fits.Keep(weather.Is(n*c.times + c.plus))
		if !v.Known {
			odd++
		}
		*c.into(&h) = v
	}
	return h, odd, nil
}

// appendHour adds an hour and, before it, those that are missing.
func appendHour(hours []weather.Hour, h weather.Hour) ([]weather.Hour, error) {
	if n := len(hours); n > 0 {
		next := hours[n-1].From.Add(time.Hour)
		if h.From.Before(next) {
			return nil, fault.Bad("from", h.From.Format(time.RFC3339), "an hour later than the line before, each hour once")
		}
		if n+int(h.From.Sub(next)/time.Hour) >= maxRows {
			return nil, fault.Bad("from", h.From.Format(time.RFC3339), fmt.Sprintf("at most %d hours in one table", maxRows))
		}
		for ; next.Before(h.From); next = next.Add(time.Hour) {
			hours = append(hours, weather.Hour{From: next, Span: time.Hour})
		}
	}
	return append(hours, h), nil
}
