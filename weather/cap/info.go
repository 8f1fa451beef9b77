package cap

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"toeboard/weather"
)

// status reads whether a message is meant. Exercise, System, Test and Draft
// never act; one that says nothing, or no word of the standard, is taken as
// meant: a broken word must not switch a warning off.
func status(text string) weather.BulletinStatus {
	switch text {
	case "Exercise", "System", "Test", "Draft":
		return weather.StatusOther
	default:
		return weather.StatusActual
	}
}

// kind reads what a message does to others. A word that is none of the
// standard's warns and replaces nothing.
func kind(text string) weather.BulletinKind {
	switch text {
	case "Update":
		return weather.KindUpdate
	case "Cancel":
		return weather.KindCancel
	case "Ack", "Error":
		return weather.KindOther
	default:
		return weather.KindAlert
	}
}

// instant reads a time of CAP: RFC 3339, where -00:00 stands for UTC.
func instant(text string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339, text)
	return t.UTC(), err
}

// warning reads one info block. What it does not say is read to the careful
// side: without a beginning it holds from the time of sending, without a
// severity it counts as severe.
func warning(n *node, b *weather.Bulletin) weather.Warning {
	w := weather.Warning{Event: n.get("event"), Headline: n.get("headline"), Language: n.get("language"), Sender: b.Sender, Sent: b.Sent, From: b.Sent}
	if name := n.get("senderName"); name != "" {
		w.Sender = name
	}
	w.Hazard = hazard(n)
	w.Severity = severity(n)
	for _, field := range []string{"onset", "effective"} {
		if text := n.get(field); text != "" {
			t, err := instant(text)
			if err != nil {
				b.Notes = append(b.Notes, fmt.Sprintf("%s is %q, which is no time", field, text))
				continue
			}
			w.From = t
			break
		}
	}
	if text := n.get("expires"); text != "" {
		t, err := instant(text)
		if err != nil {
			b.Notes = append(b.Notes, fmt.Sprintf("expires is %q, which is no time: it holds as if no end were given", text))
		} else {
			w.To = t
		}
	}
	for _, a := range n.all("area") {
		w.Areas = append(w.Areas, area(a, b))
	}
	return w
}

// severity reads how bad it is. "No warning" is said in three ways: a level of
// awareness of 1 or green, a response of all clear, an urgency of past.
func severity(n *node) weather.Severity {
	for _, p := range n.all("parameter") {
		if p.get("valueName") != "awareness_level" {
			continue
		}
		level, _, _ := strings.Cut(p.get("value"), ";")
		switch strings.TrimSpace(level) {
		case "1":
			return weather.SeverityNone
		case "2":
			return weather.SeverityModerate
		case "3":
			return weather.SeveritySevere
		case "4":
			return weather.SeverityExtreme
		}
	}
	if n.get("responseType") == "AllClear" || n.get("urgency") == "Past" {
		return weather.SeverityNone
	}
	switch n.get("severity") {
	case "Minor":
		return weather.SeverityMinor
	case "Moderate":
		return weather.SeverityModerate
	case "Severe":
		return weather.SeveritySevere
	case "Extreme":
		return weather.SeverityExtreme
	default:
		return weather.SeverityUnknown
	}
}

// awareness gives the hazard of each number that European services write into
// the parameter awareness_type ("3; Thunderstorm"). 1, 3 and 5 were seen in
// real messages, the others are from memory: check against the original.
var awareness = map[string]weather.Hazard{
	"1": weather.HazardWind, "2": weather.HazardIce, "3": weather.HazardThunder, "4": weather.HazardFog,
	"5": weather.HazardHeat, "6": weather.HazardCold, "7": weather.HazardNone /* coast */, "8": weather.HazardNone, /* forest fire */
	"9": weather.HazardNone /* avalanche */, "10": weather.HazardRain, "12": weather.HazardNone /* flood */, "13": weather.HazardRain, /* rain and flood */
}

// words gives the hazard of an event by the words in its English name. What
// strikes fastest stands first: "thunderstorm with wind" is a thunderstorm.
var words = []struct {
	hazard weather.Hazard
	any    *regexp.Regexp
}{
	{weather.HazardThunder, regexp.MustCompile(`(?i)thunder|lightning|tornado|funnel|hail`)},
	{weather.HazardIce, regexp.MustCompile(`(?i)snow|\bice\b|icy|frost|freez|blizzard|sleet|winter|glaze`)},
	{weather.HazardWind, regexp.MustCompile(`(?i)wind|gale|storm|hurricane|typhoon|gust|small craft|squall`)},
	{weather.HazardRain, regexp.MustCompile(`(?i)rain|shower|precipitation|flash flood`)},
	{weather.HazardHeat, regexp.MustCompile(`(?i)heat|high.temperature`)},
	{weather.HazardCold, regexp.MustCompile(`(?i)cold|chill|low.temperature`)},
	{weather.HazardFog, regexp.MustCompile(`(?i)\bfog|visibility|dust|sand|smoke`)},
	{weather.HazardNone, regexp.MustCompile(`(?i)flood|tide|coast|surf|rip current|avalanche|wave|earthquake|tsunami|volcan|air quality|pollen|ozone|fire|abduction|missing`)},
}

// otherCategories are the categories of CAP 1.2, section 3.2.2, but Met. A word
// that is none of the standard's is taken for Met: it can only warn.
var otherCategories = []string{"Geo", "Safety", "Security", "Rescue", "Fire", "Health", "Env", "Transport", "Infra", "CBRNE", "Other"}

// hazard reads what is warned of: by the number of awareness, by the words of
// the event, else by the category. A weather warning that cannot be told stays
// unknown, and counts.
func hazard(n *node) weather.Hazard {
	for _, p := range n.all("parameter") {
		if p.get("valueName") == "awareness_type" {
			number, _, _ := strings.Cut(p.get("value"), ";")
			if h, ok := awareness[strings.TrimSpace(number)]; ok {
				return h
			}
		}
	}
	others, met := false, false
	for _, c := range n.all("category") { // a feed's own categories have no text
		text := strings.TrimSpace(c.text.String())
		other := slices.Contains(otherCategories, text)
		others, met = others || other, met || text != "" && !other
	}
	if others && !met {
		return weather.HazardNone
	}
	event := n.get("event")
	for _, w := range words {
		if w.any.MatchString(event) {
			return w.hazard
		}
	}
	return weather.HazardUnknown
}

// area reads shapes and codes. When a shape cannot be read, nobody knows where
// the area ends: it is noted and taken as everywhere.
func area(n *node, b *weather.Bulletin) weather.Area {
	a := weather.Area{Name: n.get("areaDesc")}
	for _, p := range n.all("polygon") {
		text := strings.TrimSpace(p.text.String())
		if text == "" {
			continue
		}
		ring, err := polygon(text)
		if err != nil {
			b.Notes = append(b.Notes, fmt.Sprintf("a polygon of %q cannot be read, so it holds everywhere: %v", a.Name, err))
			return weather.Area{Name: a.Name}
		}
		a.Polygons = append(a.Polygons, ring)
	}
	for _, c := range n.all("circle") {
		text := strings.TrimSpace(c.text.String())
		if text == "" {
			continue
		}
		circle, err := circleOf(text)
		if err != nil {
			b.Notes = append(b.Notes, fmt.Sprintf("a circle of %q cannot be read, so it holds everywhere: %v", a.Name, err))
			return weather.Area{Name: a.Name}
		}
		a.Circles = append(a.Circles, circle)
	}
	for _, g := range n.all("geocode") {
		a.Codes = append(a.Codes, codes(g)...)
	}
	return a
}

// codes reads a geocode. Some feeds put several names and values into one, and
// several codes, parted by blanks, into one value.
func codes(g *node) (list []string) {
	name := ""
	for _, k := range g.kids {
		switch text := strings.TrimSpace(k.text.String()); k.name {
		case "valueName":
			name = text
		case "value":
			for _, code := range strings.Fields(text) {
				list = append(list, name+":"+code)
			}
		}
	}
	return list
}

// polygon reads "lat,lon lat,lon ...": at least four points, the last the first
// (CAP 1.2, 3.2.4). A comma too many after a pair is forgiven, an open ring closed.
func polygon(text string) (ring []weather.Point, err error) {
	for _, pair := range strings.Fields(text) {
		p, err := point(strings.TrimSuffix(pair, ","))
		if err != nil {
			return nil, err
		}
		ring = append(ring, p)
	}
	if len(ring) < 3 {
		return nil, fmt.Errorf("%d points make no area", len(ring))
	}
	if ring[0] != ring[len(ring)-1] {
		ring = append(ring, ring[0])
	}
	return ring, nil
}

// circleOf reads "lat,lon radius", the radius in kilometres.
func circleOf(text string) (weather.Circle, error) {
	parts := strings.Fields(text)
	if len(parts) != 2 {
		return weather.Circle{}, fmt.Errorf("%q is not a point and a radius", text)
	}
	p, err := point(parts[0])
	if err != nil {
		return weather.Circle{}, err
	}
	km, err := strconv.ParseFloat(parts[1], 64)
	if err != nil || !(km >= 0 && km <= 20_038) { // half the way around the earth
		return weather.Circle{}, fmt.Errorf("a radius of %q", parts[1])
	}
	return weather.Circle{Centre: p, Km: km}, nil
}

func point(text string) (weather.Point, error) {
	lat, lon, ok := strings.Cut(text, ",")
	y, errY := strconv.ParseFloat(lat, 64)
	x, errX := strconv.ParseFloat(lon, 64)
	if !ok || errY != nil || errX != nil || !(y >= -90 && y <= 90) || !(x >= -180 && x <= 180) {
		return weather.Point{}, fmt.Errorf("%q is no latitude,longitude", text)
	}
	return weather.Point{Lat: y, Lon: x}, nil
}

// withoutTranslations drops info blocks that only say in another language what
// a fuller one says: the same severity, but neither an area nor an end. Where
// they name the hazard better, the fuller one takes that from them.
func withoutTranslations(list []weather.Warning) []weather.Warning {
	var kept []weather.Warning
	for i := range list {
		bare := len(list[i].Areas) == 0 && list[i].To.IsZero()
		if !bare || i == 0 || len(list[i-1].Areas) == 0 || list[i-1].Language == list[i].Language || !saysTheSame(&list[i-1], &list[i]) {
			kept = append(kept, list[i])
			continue
		}
		full := &kept[len(kept)-1]
		full.Event, full.Headline, full.Language = list[i].Event, list[i].Headline, list[i].Language
		if full.Hazard == weather.HazardUnknown {
			full.Hazard = list[i].Hazard
		}
	}
	return kept
}

func saysTheSame(a, b *weather.Warning) bool {
	if a.Hazard != b.Hazard && a.Hazard != weather.HazardUnknown {
		return false
	}
	return a.Severity == b.Severity
}
