package weather

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Hazard is what an official warning warns of.
type Hazard string

// The hazards that matter to people on a roof. HazardUnknown is a weather
// warning whose hazard could not be read; it still counts.
const (
	HazardUnknown Hazard = ""
	HazardWind    Hazard = "wind"
	HazardThunder Hazard = "thunderstorm"
	HazardRain    Hazard = "rain"
	HazardIce     Hazard = "snow or ice"
	HazardHeat    Hazard = "heat"
	HazardCold    Hazard = "cold"
	HazardFog     Hazard = "fog"
	HazardNone    Hazard = "none of ours" // tides, avalanches, pollen, a missing child: no matter of the weather on a roof
)

// Severity is how bad the warning's issuer expects it to be, in the words of
// CAP 1.2, section 3.2.2. SeverityNone is an entry that says there is no warning.
type Severity int

// The severities. What cannot be read is SeverityUnknown and counts as Severe.
const (
	SeverityUnknown Severity = iota
	SeverityNone
	SeverityMinor
	SeverityModerate
	SeveritySevere
	SeverityExtreme
)

// String gives the severity as CAP writes it, in small letters.
func (s Severity) String() string {
	words := [...]string{"unknown", "none", "minor", "moderate", "severe", "extreme"}
	if s < 0 || int(s) >= len(words) {
		return words[0]
	}
	return words[s]
}

// Circle is a part of the earth's surface around a point.
type Circle struct {
	Centre Point
	Km     float64 // radius
}

// Area is where a warning holds. Polygons repeat their first point at the end.
// An area with neither shape nor code is everywhere: nobody said where it ends.
type Area struct {
	Name     string
	Polygons [][]Point
	Circles  []Circle
	Codes    []string // "EMMA_ID:UK005": the kind of code and the code
}

// Warning is one hazard of one official bulletin.
type Warning struct {
	Hazard   Hazard
	Severity Severity
	From, To time.Time // UTC; a zero To = no end was given
	Event    string    // as the issuer calls it
	Headline string
	Language string // of Event and Headline, "" = not said
	Areas    []Area
	Sender   string
	Sent     time.Time // UTC
}

// BulletinStatus tells whether a bulletin is meant (CAP 1.2, status).
type BulletinStatus string

// The statuses. Only an actual one acts; one that says nothing is taken as
// actual, since it can only tighten.
const (
	StatusActual BulletinStatus = "Actual"
	StatusOther  BulletinStatus = "Other" // Exercise, System, Test, Draft
)

// BulletinKind is what a bulletin does to others (CAP 1.2, msgType).
type BulletinKind string

// The kinds.
const (
	KindAlert  BulletinKind = "Alert"
	KindUpdate BulletinKind = "Update"
	KindCancel BulletinKind = "Cancel"
	KindOther  BulletinKind = "Other" // acknowledgements and error reports: they change nothing
)

// Reference names an earlier bulletin.
type Reference struct{ Sender, ID string }

// Bulletin is one message of a warning service.
type Bulletin struct {
	ID, Sender string
	Sent       time.Time // UTC
	Status     BulletinStatus
	Kind       BulletinKind
	References []Reference // the bulletins that an Update or a Cancel replaces
	Warnings   []Warning
	Links      []string // a feed's entry: where the whole message is, the likeliest first
	Entry      bool     // an entry of a feed, whatever it holds
	Listed     bool     // an entry that only names its message: what it warns of stands behind its first link
	Notes      []string // what was odd and how it was read
}

// warningLife is how long a warning that gives no end is held to be in force
// after it was sent (ours, no source: services renew theirs within a day or two).
const warningLife = 72 * time.Hour

// InForce gives the warnings that count, in the order of their start: those of
// actual bulletins that no later actual bulletin of the same sender replaced or
// cancelled, which have not ended by now, and that say more than "no warning".
// The order of the bulletins does not matter.
func InForce(bulletins []Bulletin, now time.Time) []Warning {
	replaced := map[Reference]time.Time{}
	for _, b := range bulletins {
		if b.Status != StatusActual || b.Kind != KindUpdate && b.Kind != KindCancel {
			continue
		}
		for _, r := range b.References {
			if b.Sent.After(replaced[r]) && r.Sender == b.Sender {
				replaced[r] = b.Sent
			}
		}
	}
	var list []Warning
	for _, b := range bulletins {
		if b.Status != StatusActual || b.Kind != KindAlert && b.Kind != KindUpdate || replaced[Reference{b.Sender, b.ID}].After(b.Sent) {
			continue
		}
		for _, w := range b.Warnings {
			if w.Severity != SeverityNone && w.Hazard != HazardNone && w.end().After(now) {
				list = append(list, w)
			}
		}
	}
	slices.SortStableFunc(list, func(a, b Warning) int {
		return cmp.Or(a.From.Compare(b.From), cmp.Compare(a.Hazard, b.Hazard), cmp.Compare(b.Severity, a.Severity), cmp.Compare(a.Event, b.Event), cmp.Compare(a.Sender, b.Sender))
	})
	return list
}

// end gives when a warning ends, UTC.
func (w *Warning) end() time.Time {
	if !w.To.IsZero() {
		return w.To
	}
	from := w.From
	if w.Sent.After(from) {
		from = w.Sent
	}
	return from.Add(warningLife)
}

// Covers tells whether a warning holds at a point, which lies in the areas with
// the codes given ("EMMA_ID:UK005"). Where an area has shapes, they decide; an
// area of codes alone holds where one of the codes is the point's, and where
// none of its kinds of code is known for the point: not knowing is no all-clear.
func (w *Warning) Covers(p Point, codes []string) bool {
	if len(w.Areas) == 0 {
		return true
	}
	return slices.ContainsFunc(w.Areas, func(a Area) bool { return a.covers(p, codes) })
}

func (a *Area) covers(p Point, codes []string) bool {
	if len(a.Polygons)+len(a.Circles) > 0 {
		return slices.ContainsFunc(a.Polygons, func(ring []Point) bool { return inside(ring, p) }) ||
			slices.ContainsFunc(a.Circles, func(c Circle) bool { return c.Centre.KmTo(p) <= c.Km })
	}
	comparable := false
	for _, code := range a.Codes {
		kind, _, _ := strings.Cut(code, ":")
		for _, mine := range codes {
			if strings.EqualFold(mine, code) {
				return true
			}
			if k, _, _ := strings.Cut(mine, ":"); strings.EqualFold(k, kind) {
				comparable = true
			}
		}
	}
	return !comparable
}

// inside tells whether a point lies in a closed ring or on its edge. Latitude
// and longitude are taken as flat; the ring is unrolled from its first point, so
// that one across the 180th meridian is read as it was drawn.
func inside(ring []Point, p Point) bool {
	if len(ring) == 0 {
		return false
	}
	x := around(p.Lon - ring[0].Lon)
	return crossed(ring, x, p.Lat) || crossed(ring, x-360, p.Lat) || crossed(ring, x+360, p.Lat)
}

// crossed tells whether a ray to the east from x degrees east of the ring's
// first point crosses the ring an odd number of times.
func crossed(ring []Point, x, lat float64) bool {
	in := false
	at := 0.0
	for i := 1; i < len(ring); i++ {
		next := at + around(ring[i].Lon-ring[i-1].Lon)
		ax, bx, ay, by := at-x, next-x, ring[i-1].Lat-lat, ring[i].Lat-lat
		at = next
		if ax*by-bx*ay == 0 && min(ax, bx) <= 0 && max(ax, bx) >= 0 && min(ay, by) <= 0 && max(ay, by) >= 0 {
			return true
		}
		if (ay > 0) != (by > 0) && ax-ay*(bx-ax)/(by-ay) > 0 {
			in = !in
		}
	}
	return in
}

// around brings a difference of longitudes into -180 to 180 degrees.
func around(deg float64) float64 {
	for deg > 180 {
		deg -= 360
	}
	for deg < -180 {
		deg += 360
	}
	return deg
}

// warned gives by hazard from which severity a warning is a caution and from
// which it stops outdoor work. The firm's own rule: the services' levels speak
// of the public, not of people on a roof. A thunderstorm stops at every level,
// since leaving a roof takes longer than a storm takes to come.
var warned = map[Hazard][2]Severity{
	HazardUnknown: {SeverityMinor, SeveritySevere},
	HazardWind:    {SeverityMinor, SeveritySevere},
	HazardThunder: {SeverityMinor, SeverityMinor},
	HazardRain:    {SeverityMinor, SeveritySevere},
	HazardIce:     {SeverityMinor, SeverityModerate},
	HazardHeat:    {SeverityMinor, SeverityExtreme},
	HazardCold:    {SeverityMinor, SeverityExtreme},
	HazardFog:     {SeverityMinor, SeverityExtreme},
}

// Verdict gives what a warning does to outdoor work while it is in force: a
// caution or a stop, never a go. It is Go only for what is no warning of ours.
func (w *Warning) Verdict() Verdict {
	levels, ok := warned[w.Hazard]
	severity := w.Severity
	if severity == SeverityUnknown {
		severity = SeveritySevere
	}
	switch {
	case !ok || severity == SeverityNone:
		return Go
	case severity >= levels[1]:
		return Stop
	case severity >= levels[0]:
		return Caution
	}
	return Go
}

// touches tells whether a warning is in force at some time of [from, to).
func (w *Warning) touches(from, to time.Time) bool { return w.From.Before(to) && w.end().After(from) }

// reason says what a warning does to a step.
func (w *Warning) reason(at time.Time, subject string) Reason {
	name := string(w.Hazard)
	if w.Hazard == HazardUnknown {
		name = "weather"
	}
	if w.Event != "" {
		name = fmt.Sprintf("%s (%s)", name, w.Event)
	}
	severity := w.Severity
	return Reason{
		Rule: "official warning of " + name, Subject: subject, Verdict: w.Verdict(), Quantity: OfficialWarning, Known: severity != SeverityUnknown,
		Value: float64(severity), Limit: float64(warned[w.Hazard][1]), Source: w.Sender + "; levels are the firm's own rule", At: at,
	}
}
