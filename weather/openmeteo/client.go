package openmeteo

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"toeboard/weather"
	"toeboard/weather/fault"
	"toeboard/weather/manners"
)

// Addresses of the free service.
const (
	ForecastURL = "https://api.open-meteo.com/v1/forecast"
	EnsembleURL = "https://ensemble-api.open-meteo.com/v1/ensemble"
)

// asked are the columns requested, in the present spelling.
var asked = []string{
	"wind_speed_10m", "wind_gusts_10m", "precipitation", "temperature_2m", "dew_point_2m",
	"relative_humidity_2m", "cloud_cover", "weather_code",
}

// Client fetches forecasts and keeps the service's manners: rounded places,
// each grid cell once, several in a request, a deadline, a bounded answer, and
// silence after a refusal until the time is over. A Client may be used by
// several goroutines; requests go out one after another.
type Client struct {
	BaseURL   string           // the interface's whole address; ForecastURL or EnsembleURL
	HTTP      *http.Client     // required
	UserAgent string           // required: application and contact
	Now       func() time.Time // required
	Models    string           // models to ask for, by comma; empty for the interface's own choice
	Days      int              // forecast days; 0 for the interface's own choice
	Timeout   time.Duration    // of one request; 0 is 30 s
	MaxBody   int64            // largest answer read [bytes]; 0 is 64 MiB
	Decimals  int              // of degrees sent; 0 is 2, about a kilometre: a house is nobody's business

	mu       sync.Mutex
	patience manners.Patience
}

// Answer is what the service said about one point.
type Answer struct {
	Point  weather.Point   // as asked for, not rounded
	Body   json.RawMessage // this place's part, as it came
	Series weather.Series
}

const (
	placesPerRequest = 50
	defaultDecimals  = 2
	// Half a degree is the coarsest grid among the models asked for; an answer
	// further away is for another place.
	farthestAnswer = 1.0
	// An answer fetched now that begins or ends longer ago than this is an old
	// one from some cache.
	oldestStart = 4 * 24 * time.Hour
)

// Fetch asks for the forecast of each point and gives the answers in the
// points' order, each with the point that it is about. Points that round to the
// same place share one answer. What cannot be had costs only its own points:
// their answers are missing beside the error. A batch that the service refuses
// for one bad place is asked again in halves, a few times.
//
// A refusal or a failure is of kind fault.Unavailable and carries a
// weather.Later; until then Fetch fails at once without asking.
func (c *Client) Fetch(ctx context.Context, points []weather.Point) ([]Answer, error) {
	if err := c.check(points); err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.patience.Provider = Provider
	cells, cellOf := c.cells(points)
	parts := map[weather.Point]Answer{}
	var failed []error
	again := mostHalvings
	for from := 0; from < len(cells); from += placesPerRequest {
		err := c.batch(ctx, cells[from:min(from+placesPerRequest, len(cells))], parts, &again)
		failed = append(failed, err)
		if _, refused := weather.RetryAt(err); refused || ctx.Err() != nil {
			break // the rest would be refused alike
		}
	}
	answers := make([]Answer, 0, len(points))
	for i, p := range points {
		if a, ok := parts[cells[cellOf[i]]]; ok {
			a.Point = p
			answers = append(answers, a)
		}
	}
	return answers, errors.Join(failed...)
}

// mostHalvings is how many further requests one Fetch may make to find the bad
// places in refused batches: enough for two bad places in one batch.
const mostHalvings = 24

// batch asks for several places at once and puts their answers into parts. When
// the service refuses the request itself, it asks for each half of them.
func (c *Client) batch(ctx context.Context, cells []weather.Point, parts map[weather.Point]Answer, again *int) error {
	answers, err := c.request(ctx, cells, len(cells) > 1 && *again >= 2, *again < mostHalvings)
	for _, a := range answers {
		parts[a.Point] = a
	}
	if !errors.Is(err, errHalve) {
		return err
	}
	*again -= 2
	half := len(cells) / 2
	first := c.batch(ctx, cells[:half], parts, again)
	if _, refused := weather.RetryAt(first); refused && half > 1 {
		return first
	}
	return errors.Join(first, c.batch(ctx, cells[half:], parts, again))
}

// errHalve says that a batch was refused as a whole and may be asked in halves.
var errHalve = errors.New("openmeteo: the batch was refused")

func (c *Client) check(points []weather.Point) error {
	switch {
	case c.HTTP == nil || c.Now == nil || c.BaseURL == "":
		return errors.New("openmeteo: a Client needs BaseURL, HTTP and Now")
	case strings.TrimSpace(c.UserAgent) == "":
		return fault.Bad("user agent", "", "the application's name and a contact, so that the service can reach whoever runs it")
	}
	for _, p := range points {
		if !(math.Abs(p.Lat) <= 90 && math.Abs(p.Lon) <= 180) {
			return fault.Bad("point", fmt.Sprintf("%v, %v", p.Lat, p.Lon), "latitude from -90 to 90 and longitude from -180 to 180")
		}
	}
	return nil
}

// cells gives the places to ask for, each once, and which of them every point
// belongs to.
func (c *Client) cells(points []weather.Point) (cells []weather.Point, cellOf []int) {
	decimals := c.Decimals
	if decimals == 0 {
		decimals = defaultDecimals
	}
	unit := math.Pow(10, float64(decimals))
	seen := map[weather.Point]int{}
	for _, p := range points {
		cell := weather.Point{Lat: math.Round(p.Lat*unit) / unit, Lon: math.Round(p.Lon*unit) / unit}
		if _, ok := seen[cell]; !ok {
			seen[cell] = len(cells)
			cells = append(cells, cell)
		}
		cellOf = append(cellOf, seen[cell])
	}
	return cells, cellOf
}

// request makes one request for several places. It is errHalve when the service
// calls the request itself bad and halve allows to find out which place it means;
// halved says that this was done, so that one bad place silences nobody.
func (c *Client) request(ctx context.Context, cells []weather.Point, halve, halved bool) ([]Answer, error) {
	now := c.Now()
	if err := c.patience.May(now); err != nil {
		return nil, err
	}
	reply, err := manners.Request{HTTP: c.HTTP, Address: c.address(cells), UserAgent: c.UserAgent, Timeout: c.Timeout, MaxBody: c.MaxBody}.Get(ctx)
	var broken *manners.Broken
	switch {
	case errors.As(err, &broken):
		return nil, c.patience.Failed(now, 0, broken.Why)
	case err != nil:
		return nil, fmt.Errorf("openmeteo: %w", err)
	case reply.Status == http.StatusBadRequest && halve:
		return nil, errHalve
	case reply.Status == http.StatusBadRequest && len(cells) == 1 && halved:
		return nil, fmt.Errorf("openmeteo: the service refused the place %v, %v: %w", cells[0].Lat, cells[0].Lon, fault.Bad("request", reasonOf(reply), "a request the service understands"))
	case reply.Status != http.StatusOK:
		return nil, c.refused(now, reply)
	}
	answers, err := understand(reply.Body, cells, now)
	if err != nil && len(answers) == 0 {
		// What cannot be understood now will not be in a second either.
		return nil, errors.Join(c.patience.Failed(now, 0, "the answer cannot be used"), err)
	}
	c.patience.Succeeded()
	return answers, err
}

// address writes the request. Nothing in it names a customer.
func (c *Client) address(cells []weather.Point) string {
	lats, lons := make([]string, len(cells)), make([]string, len(cells))
	for i, p := range cells {
		lats[i] = strconv.FormatFloat(p.Lat, 'f', -1, 64)
		lons[i] = strconv.FormatFloat(p.Lon, 'f', -1, 64)
	}
	hourly := asked
	if !strings.Contains(c.BaseURL, "ensemble") {
		hourly = append(append([]string{}, asked...), "precipitation_probability") // not offered member by member
	}
	q := url.Values{
		"latitude": {strings.Join(lats, ",")}, "longitude": {strings.Join(lons, ",")},
		"hourly":   {strings.Join(hourly, ",")},
		"timezone": {"GMT"}, "wind_speed_unit": {"ms"}, "precipitation_unit": {"mm"}, "temperature_unit": {"celsius"},
		"past_days": {"1"}, // so that the rain of the night before is known in the morning
	}
	if c.Models != "" {
		q.Set("models", c.Models)
	}
	if c.Days > 0 {
		q.Set("forecast_days", strconv.Itoa(c.Days))
	}
	// Commas stay readable; the service takes them either way.
	return c.BaseURL + "?" + strings.ReplaceAll(q.Encode(), "%2C", ",")
}

// understand reads a body and holds it to what was asked. A place whose part
// cannot be used costs only its own answer.
func understand(body []byte, cells []weather.Point, now time.Time) ([]Answer, error) {
	parts, err := split(body)
	if err != nil {
		return nil, err
	}
	if len(parts) != len(cells) {
		return nil, fault.Bad("answer", fmt.Sprintf("%d places", len(parts)), fmt.Sprintf("the %d places asked for", len(cells)))
	}
	var answers []Answer
	var failed []error
	for i, part := range parts {
		s, err := understandOne(part, cells[i], now)
		if err != nil {
			failed = append(failed, fmt.Errorf("place %d of %d: %w", i+1, len(cells), err))
			continue
		}
		answers = append(answers, Answer{Point: cells[i], Body: part, Series: s})
	}
	return answers, errors.Join(failed...)
}

func understandOne(part json.RawMessage, cell weather.Point, now time.Time) (weather.Series, error) {
	s, err := parseOne(part, now)
	if err != nil {
		return s, err
	}
	if math.Abs(s.Lat-cell.Lat) > farthestAnswer || math.Abs(math.Remainder(s.Lon-cell.Lon, 360)) > farthestAnswer {
		return s, fault.Bad("answer", fmt.Sprintf("%v, %v", s.Lat, s.Lon), fmt.Sprintf("a grid point near %v, %v", cell.Lat, cell.Lon))
	}
	return s, fresh(s, now)
}

// fresh refuses an answer that came now and speaks of another time.
func fresh(s weather.Series, now time.Time) error {
	hours := s.Members[0].Hours
	first, last := hours[0].From, hours[len(hours)-1].From.Add(hours[len(hours)-1].Span)
	if now.Sub(first) > oldestStart || !last.After(now) {
		return fault.Bad("hourly.time", first.Format(time.RFC3339)+" to "+last.Format(time.RFC3339), "hours around "+now.UTC().Format(time.RFC3339)+"; an old answer came from some cache")
	}
	return nil
}

// refused reads why the service said no and when it may be asked again.
func (c *Client) refused(now time.Time, reply manners.Reply) error {
	reason := reasonOf(reply)
	why := fmt.Sprintf("answered %d: %s", reply.Status, reason)
	if reply.Status == http.StatusBadRequest {
		// The same words again will not help: tell whoever set this up.
		return errors.Join(c.patience.Failed(now, 0, why), fault.Bad("request", reason, "a request the service understands"))
	}
	return c.patience.Failed(now, max(manners.RetryAfter(reply.Header.Get("Retry-After"), now), quotaWait(reason, now)), why)
}

// reasonOf gives what the service said.
func reasonOf(reply manners.Reply) string {
	var said struct {
		Reason string `json:"reason"`
	}
	if json.Unmarshal(reply.Body, &said) != nil || said.Reason == "" {
		return http.StatusText(reply.Status)
	}
	return said.Reason
}

// quotaWait reads which of the quotas is used up.
func quotaWait(reason string, now time.Time) time.Duration {
	reason = strings.ToLower(reason)
	utc := now.UTC()
	switch {
	case strings.Contains(reason, "minutely"):
		return time.Minute
	case strings.Contains(reason, "hourly"):
		return utc.Truncate(time.Hour).Add(time.Hour).Sub(utc)
	case strings.Contains(reason, "daily"):
		return utc.Truncate(24 * time.Hour).Add(24 * time.Hour).Sub(utc)
	}
	return 0
}
