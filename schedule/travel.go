package schedule

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"toeboard/weather"
	"toeboard/weather/fault"
)

// Leg is the distance by road between two places, the same both ways. A place
// is a crew's home, named by the crew, or a site, named by its job's reference.
type Leg struct {
	From string  `json:"from"`
	To   string  `json:"to"`
	Km   float64 `json:"km"` // [km] by road
}

// TravelVersion is the distances that a firm gave, when and by whom. Version 0
// is none.
type TravelVersion struct {
	Legs    []Leg
	Version int
	SetBy   string
	SetAt   time.Time
}

// mostKm bounds a leg: farther than Britain is long by road (Land's End to John
// o' Groats, about 1,400 km; the figure from memory).
const (
	mostKm   = 2000
	mostLegs = 200_000
)

// roadKey is a pair of places, the lesser first.
type roadKey struct{ a, b weather.Point }

func roadBetween(a, b weather.Point) roadKey {
	if cmp.Or(cmp.Compare(a.Lat, b.Lat), cmp.Compare(a.Lon, b.Lon)) > 0 {
		a, b = b, a
	}
	return roadKey{a, b}
}

// roads resolves the firm's distances to places. Names that are no crew's and
// no job's of the snapshot are of no use here and passed over. Where two names
// lie on one spot, the shortest distance counts.
func (s *Snapshot) roads() map[roadKey]float64 {
	if len(s.Travel) == 0 {
		return nil
	}
	at := map[string]weather.Point{}
	for i := range s.Jobs {
		at[s.Jobs[i].Ref] = siteOf(&s.Jobs[i])
	}
	for _, c := range s.Crews {
		at[c.Name] = weather.Point{Lat: c.HomeLat, Lon: c.HomeLon}
	}
	km := make(map[roadKey]float64, len(s.Travel))
	for _, l := range s.Travel {
		a, okA := at[l.From]
		b, okB := at[l.To]
		if !okA || !okB {
			continue
		}
		key := roadBetween(a, b)
		if was, ok := km[key]; !ok || l.Km < was {
			km[key] = l.Km
		}
	}
	return km
}

// usefulLegs are those between places of the snapshot.
func (s *Snapshot) usefulLegs() (list []Leg) {
	unknown := map[string]bool{}
	for _, name := range UnknownPlaces(s.Travel, s.Crews, s.Jobs) {
		unknown[name] = true
	}
	for _, l := range s.Travel {
		if !unknown[l.From] && !unknown[l.To] {
			list = append(list, l)
		}
	}
	return list
}

// ReadLegs reads distances from CSV: a head row with from, to and km, then one
// leg a row. A pair may be given in one direction or in both; both must agree.
// It names every fault by its line.
func ReadLegs(r io.Reader) ([]Leg, error) {
	in := csv.NewReader(r)
	in.FieldsPerRecord = -1
	in.TrimLeadingSpace = true
	head, err := in.Read()
	if err != nil {
		return nil, fault.Bad("distances", "", "a CSV file whose first row is from,to,km")
	}
	col := map[string]int{}
	for i, name := range head {
		col[strings.ToLower(strings.TrimSpace(strings.TrimPrefix(name, "\ufeff")))] = i
	}
	for _, name := range []string{"from", "to", "km"} {
		if _, ok := col[name]; !ok {
			return nil, fault.Bad("distances", strings.Join(head, ","), "a first row with the columns from, to and km; "+name+" is missing")
		}
	}
	list := &legList{at: map[[2]string]int{}}
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		line, _ := in.FieldPos(0)
		if err != nil {
			list.add(fmt.Sprintf("line %d", line), "row", "", "a row of CSV: "+err.Error())
			break
		}
		cell := func(name string) string {
			if i := col[name]; i < len(row) {
				return strings.TrimSpace(row[i])
			}
			return ""
		}
		list.row(fmt.Sprintf("line %d", line), cell("from"), cell("to"), cell("km"))
		if len(list.legs) > mostLegs {
			return nil, fault.Bad("distances", strconv.Itoa(len(list.legs)), fmt.Sprintf("at most %d legs", mostLegs))
		}
	}
	return list.done()
}

// CheckLegs holds legs that did not come as a file against the same rules, and
// gives them as ReadLegs does: each pair once, in order. It names every fault by
// the leg's place in the list, as a JSON pointer.
func CheckLegs(legs []Leg) ([]Leg, error) {
	if len(legs) > mostLegs {
		return nil, fault.Bad("distances", strconv.Itoa(len(legs)), fmt.Sprintf("at most %d legs", mostLegs))
	}
	list := &legList{at: map[[2]string]int{}}
	for i, l := range legs {
		list.row(fmt.Sprintf("/legs/%d", i), strings.TrimSpace(l.From), strings.TrimSpace(l.To), strconv.FormatFloat(l.Km, 'g', -1, 64))
	}
	return list.done()
}

// WriteLegs writes distances as ReadLegs takes them.
func WriteLegs(w io.Writer, legs []Leg) error {
	out := csv.NewWriter(w)
	rows := [][]string{{"from", "to", "km"}}
	for _, l := range legs {
		rows = append(rows, []string{l.From, l.To, strconv.FormatFloat(l.Km, 'f', -1, 64)})
	}
	return out.WriteAll(rows)
}

type legList struct {
	legs []Leg
	at   map[[2]string]int // by names, the lesser first: index in legs
	bad  []error
}

func (l *legList) done() ([]Leg, error) {
	if len(l.bad) > 0 {
		return nil, errors.Join(l.bad...)
	}
	slices.SortFunc(l.legs, func(a, b Leg) int { return cmp.Or(strings.Compare(a.From, b.From), strings.Compare(a.To, b.To)) })
	return l.legs, nil
}

func (l *legList) add(place, what, value, want string) {
	l.bad = append(l.bad, fault.Bad(place+", "+what, value, want))
}

func (l *legList) row(place, from, to, text string) {
	km, err := strconv.ParseFloat(text, 64)
	switch {
	case from == "" || to == "":
		l.add(place, "from, to", from+", "+to, "the names of two places: a crew's name or a job's reference")
		return
	case from == to:
		l.add(place, "to", to, "another place than from")
		return
	case err != nil || !(km >= 0 && km <= mostKm):
		l.add(place, "km", text, fmt.Sprintf("kilometres by road, 0 to %d", mostKm))
		return
	}
	if from > to {
		from, to = to, from
	}
	if i, ok := l.at[[2]string{from, to}]; ok {
		if math.Abs(l.legs[i].Km-km) > 0.05 {
			l.add(place, "km", text, fmt.Sprintf("as far as the other way, %g km: a leg costs the same in both directions", l.legs[i].Km))
		}
		return
	}
	l.at[[2]string{from, to}] = len(l.legs)
	l.legs = append(l.legs, Leg{from, to, km})
}

// UnknownPlaces lists the names in legs that are no crew's and no job's, each
// once, in order: they do no harm and no good.
func UnknownPlaces(legs []Leg, crews []Crew, jobs []Job) []string {
	known := map[string]bool{}
	for _, c := range crews {
		known[c.Name] = true
	}
	for _, j := range jobs {
		known[j.Ref] = true
	}
	var list []string
	for _, l := range legs {
		for _, name := range []string{l.From, l.To} {
			if !known[name] {
				known[name] = true
				list = append(list, name)
			}
		}
	}
	slices.Sort(list)
	return list
}
