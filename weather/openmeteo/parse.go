package openmeteo

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"
	"time"

	"toeboard/weather"
	"toeboard/weather/fault"
)

// Bounds on what is read, far above any real answer, so that a small body
// cannot ask for much memory.
const (
	maxHours       = 400 * 24 // of one future: a little over a year
	maxFutureHours = 500_000  // of all futures of a place together
)

// answer is one place's part of a body. Fields not named here are not read.
type answer struct {
	Failed    bool                       `json:"error"`
	Reason    string                     `json:"reason"`
	Composed  bool                       `json:"composed"`
	Latitude  weather.Value              `json:"latitude"`
	Longitude weather.Value              `json:"longitude"`
	Offset    *int64                     `json:"utc_offset_seconds"`
	Units     map[string]string          `json:"hourly_units"`
	Hourly    map[string]json.RawMessage `json:"hourly"`
}

// Parse reads a body of the forecast or the ensemble interface: one series for
// one place, as many as places asked for when the body is a list.
//
// Stamps are local by one fixed offset for the whole answer, which is taken
// away; units are read from the answer and an unknown one is refused. Gusts,
// rain and its probability are of the hour before their stamp; winds and
// temperatures are instants that bound the hours. Columns whose names end in
// _memberNN belong to one future; a model's name in the column makes futures of
// that model; any other ending is refused, since a spread or a mean read as a
// future would be calm. What is null, absent or impossible stays unknown.
//
// An error body, a missing unit, lists of different lengths, and times that do
// not rise by whole hours are errors.
func Parse(body []byte, fetchedAt time.Time) ([]weather.Series, error) {
	parts, err := split(body)
	if err != nil {
		return nil, err
	}
	all := make([]weather.Series, 0, len(parts))
	for i, part := range parts {
		s, err := parseOne(part, fetchedAt)
		if err != nil {
			if len(parts) > 1 {
				err = fmt.Errorf("place %d of %d: %w", i+1, len(parts), err)
			}
			return nil, err
		}
		all = append(all, s)
	}
	return all, nil
}

// split gives the parts of a body, one a place, each as it came.
func split(body []byte) ([]json.RawMessage, error) {
	body = bytes.TrimSpace(body)
	if len(body) == 0 {
		return nil, fault.Bad("answer", "", "a JSON object or list; it was empty")
	}
	if body[0] != '[' {
		return []json.RawMessage{body}, nil
	}
	var parts []json.RawMessage
	if err := json.Unmarshal(body, &parts); err != nil {
		return nil, unreadable(body, err)
	}
	if len(parts) == 0 {
		return nil, fault.Bad("answer", "[]", "at least one place")
	}
	return parts, nil
}

// unreadable names the beginning of what is no JSON of the expected shape.
func unreadable(body []byte, err error) error {
	start := body[:min(len(body), 60)]
	return &fault.Error{Kind: fault.Invalid, Field: "answer", Value: string(start), Want: "JSON of the forecast interface", Err: err}
}

func parseOne(part json.RawMessage, fetchedAt time.Time) (weather.Series, error) {
	var a answer
	if err := json.Unmarshal(part, &a); err != nil {
		return weather.Series{}, unreadable(part, err)
	}
	if a.Failed || a.Reason != "" {
		return weather.Series{}, refusal(a.Reason)
	}
	stamps, err := a.stamps()
	if err != nil {
		return weather.Series{}, err
	}
	table, err := a.columns(len(stamps))
	if err != nil {
		return weather.Series{}, err
	}
	if long := int(stamps[len(stamps)-1].Sub(stamps[0])/time.Hour) + 1; long*len(table.futures) > maxFutureHours {
		return weather.Series{}, fault.Bad("hourly", fmt.Sprintf("%d futures of %d hours", len(table.futures), long), fmt.Sprintf("at most %d hours in all", maxFutureHours))
	}
	s := weather.Series{Provider: Provider, FetchedAt: fetchedAt.UTC(), Lat: a.Latitude.N, Lon: a.Longitude.N}
	if a.Composed {
		s.Provider = Composed
	}
	var odd oddities
	for _, name := range table.futures {
		s.Members = append(s.Members, weather.Member{Name: name, Hours: hours(stamps, table.of[name], &odd)})
	}
	s.Notes = odd.notes()
	return s, nil
}

// refusal turns an error body into the refusal a caller can act on.
func refusal(reason string) error {
	if reason == "" {
		reason = "no reason given"
	}
	return &fault.Error{Kind: fault.Unavailable, Field: Provider, Want: "the service refused: " + reason}
}

// stamps gives the instants of the answer, in UTC.
func (a answer) stamps() ([]time.Time, error) {
	if !a.Latitude.Known || a.Latitude.N < -90 || a.Latitude.N > 90 {
		return nil, fault.Bad("latitude", fmt.Sprint(a.Latitude.N), "degrees from -90 to 90")
	}
	if !a.Longitude.Known || a.Longitude.N < -180 || a.Longitude.N > 180 {
		return nil, fault.Bad("longitude", fmt.Sprint(a.Longitude.N), "degrees from -180 to 180")
	}
	// Clocks on land are at most 14 hours from UTC.
	if a.Offset == nil || *a.Offset < -14*3600 || *a.Offset > 14*3600 {
		return nil, fault.Bad("utc_offset_seconds", "", "the seconds by which the stamps are ahead of UTC, within 14 hours")
	}
	raw, ok := a.Hourly["time"]
	if !ok {
		return nil, fault.Bad("hourly.time", "", "a list of hours; ask for hourly data")
	}
	if unit := a.Units["time"]; unit != "iso8601" {
		return nil, fault.Bad("hourly_units.time", unit, "iso8601")
	}
	var texts []string
	if err := json.Unmarshal(raw, &texts); err != nil {
		return nil, &fault.Error{Kind: fault.Invalid, Field: "hourly.time", Want: "a list of stamps like 2026-12-31T08:00", Err: err}
	}
	if len(texts) == 0 || len(texts) > maxHours {
		return nil, fault.Bad("hourly.time", fmt.Sprintf("%d stamps", len(texts)), fmt.Sprintf("from 1 to %d", maxHours))
	}
	return instants(texts, time.Duration(*a.Offset)*time.Second)
}

// instants reads the stamps and holds them to rising by whole hours.
func instants(texts []string, ahead time.Duration) ([]time.Time, error) {
	out := make([]time.Time, len(texts))
	for i, text := range texts {
		t, err := time.Parse("2006-01-02T15:04", text)
		if err != nil {
			return nil, fault.Bad(fmt.Sprintf("hourly.time[%d]", i), text, "a stamp like 2026-12-31T08:00")
		}
		out[i] = t.Add(-ahead)
		if i == 0 {
			continue
		}
		step := out[i].Sub(out[i-1])
		if step <= 0 || step%time.Hour != 0 {
			return nil, fault.Bad(fmt.Sprintf("hourly.time[%d]", i), text, "one or more whole hours after "+texts[i-1])
		}
		if out[i].Sub(out[0]) > maxHours*time.Hour {
			return nil, fault.Bad(fmt.Sprintf("hourly.time[%d]", i), text, fmt.Sprintf("within %d days of the first stamp", maxHours/24))
		}
	}
	return out, nil
}

// numbers reads a list of numbers and nulls.
func numbers(field string, raw json.RawMessage, length int) ([]weather.Value, error) {
	list := bytes.TrimSpace(raw)
	if len(list) < 2 || list[0] != '[' || list[len(list)-1] != ']' {
		return nil, fault.Bad(field, string(list[:min(len(list), 40)]), "a list of numbers")
	}
	values := make([]weather.Value, 0, length)
	rest := list[1 : len(list)-1]
	for more := len(bytes.TrimSpace(rest)) > 0; more; {
		var item []byte
		item, rest, more = bytes.Cut(rest, []byte{','})
		item = bytes.TrimSpace(item)
		if string(item) == "null" {
			values = append(values, weather.Value{})
			continue
		}
		n, err := strconv.ParseFloat(string(item), 64)
		if err != nil {
			return nil, fault.Bad(fmt.Sprintf("%s[%d]", field, len(values)), string(item), "a number or null")
		}
		values = append(values, weather.Is(n))
	}
	if len(values) != length {
		return nil, fault.Bad(field, fmt.Sprintf("%d values", len(values)), fmt.Sprintf("as many as there are times: %d", length))
	}
	return values, nil
}
