package safety

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"toeboard/weather"
)

// cautionCheck is the key of the check that is asked once for each thing the
// forecast is cautious about. What was agreed to stands in the answer's key, as
// it was shown: "weather_caution:wind_gust:8.99:8" is a gust of 8.99 m/s against
// a level of 8 m/s. So a yes is a yes to that and to no more.
const cautionCheck = "weather_caution"

// caution is one thing that the forecast is cautious about over the window.
type caution struct {
	quantity weather.Quantity
	worst    weather.Value // as shown, to three digits; unknown = the forecast does not say, or the clock alone moves it
	level    float64       // from which there is caution
	say      string        // the whole sentence; "" when read from a key
}

// cautions lists what the judgement is cautious about, each quantity and level
// once with its worst value, in the judgement's order.
func cautions(j weather.Judgement) []caution {
	var all []caution
	for _, r := range j.Reasons {
		if r.Verdict != weather.Caution {
			continue
		}
		c := caution{quantity: r.Quantity, worst: shown(r), level: r.Limit, say: r.Sentence()}
		same := slices.IndexFunc(all, func(o caution) bool { return o.quantity == c.quantity && o.level == c.level })
		switch {
		case same < 0:
			all = append(all, c)
		case !all[same].covers(c):
			all[same] = c
		}
	}
	return all
}

// shown is a reason's value with the digits that its sentence shows, so that
// what is compared is what was read out. The age of a forecast has none: it
// grows while the lead reads, up to the level that stops.
func shown(r weather.Reason) weather.Value {
	if !r.Known || r.Quantity == weather.FetchAge || r.Quantity == weather.RunAge {
		return weather.Value{}
	}
	n, err := strconv.ParseFloat(fmt.Sprintf("%.3g", r.Value), 64)
	if err != nil {
		return weather.Value{}
	}
	return weather.Is(n)
}

// covers tells whether a yes to c speaks of o too: the same quantity and level,
// and a value that is no worse.
func (c caution) covers(o caution) bool {
	switch {
	case c.quantity != o.quantity || c.level != o.level || c.worst.Known != o.worst.Known:
		return false
	case !o.worst.Known:
		return true
	case o.quantity.LowStops():
		return o.worst.N >= c.worst.N
	default:
		return o.worst.N <= c.worst.N
	}
}

// key writes the caution as the key of its check.
func (c caution) key() string {
	worst := ""
	if c.worst.Known {
		worst = number64(c.worst.N)
	}
	return strings.Join([]string{cautionCheck, c.quantity.String(), worst, number64(c.level)}, ":")
}

func number64(n float64) string { return strconv.FormatFloat(n, 'g', -1, 64) }

// cautionOf reads what key writes.
func cautionOf(key string) (c caution, ok bool) {
	part := strings.Split(key, ":")
	if len(part) != 4 || part[0] != cautionCheck || c.quantity.UnmarshalText([]byte(part[1])) != nil || !c.quantity.Known() {
		return caution{}, false
	}
	var err error
	if c.level, err = strconv.ParseFloat(part[3], 64); err != nil {
		return caution{}, false
	}
	if part[2] != "" {
		n, err := strconv.ParseFloat(part[2], 64)
		if err != nil {
			return caution{}, false
		}
		c.worst = weather.Is(n)
	}
	return c, c.key() == key // one way of writing each, and no NaN
}

// agreed is what the lead said to a caution at the briefing, and the key under
// which it stands: yes when a yes to it or to worse was given, no when there
// was a no to this quantity and level, and otherwise nothing.
func (m *morning) agreed(c caution) (Answer, string) {
	said, key := NotLookedAt, c.key()
	if m.briefing == nil {
		return said, key
	}
	for _, k := range sortedKeys(m.briefing.Checks) {
		was, ok := cautionOf(k)
		switch {
		case !ok || was.quantity != c.quantity || was.level != c.level:
		case m.briefing.Checks[k] == No:
			return No, k
		case m.briefing.Checks[k] == Yes && was.covers(c):
			said, key = Yes, k
		}
	}
	return said, key
}

// cautionAgreed judges a forecast that says caution: each thing it is cautious
// about was read out at the briefing, and agreed what is done about it.
func (m *morning) cautionAgreed() finding {
	all := cautions(m.Weather)
	if len(all) == 0 {
		return unknown("caution, and the forecast does not say of what: %s", m.forecastSaid())
	}
	var yes, no, open []string
	for _, c := range all {
		switch said, _ := m.agreed(c); said {
		case Yes:
			yes = append(yes, c.say)
		case No:
			no = append(no, c.say)
		default:
			open = append(open, c.say)
		}
	}
	switch {
	case len(no) > 0:
		return notMet("caution, not agreed at the briefing: %s", strings.Join(no, "; "))
	case len(open) > 0:
		return unknown("caution, not spoken about at the briefing: %s", strings.Join(open, "; "))
	}
	return met("caution, agreed at the briefing: %s", strings.Join(yes, "; "))
}

// cautionChecks asks c once for each caution. One that was answered already
// keeps the key of that answer.
func (m *morning) cautionChecks(c Check) []Check {
	if !m.outdoors || m.Weather.Verdict != weather.Caution {
		return nil
	}
	var all []Check
	for _, about := range cautions(m.Weather) {
		one := c
		_, one.Key = m.agreed(about)
		one.Question = strings.TrimSuffix(c.Question, "?") + ": " + about.say + "?"
		all = append(all, one)
	}
	return all
}
