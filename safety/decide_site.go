package safety

import (
	"fmt"
	"slices"
	"strings"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// siteRules are the conditions that facts alone answer, by their code: true is
// met, false is not met, and a missing fact leaves them unknown. They stand in
// the last column of conditions.csv.
var siteRules = readSiteRules(conditionsCSV)

func readSiteRules(text string) map[string]Rule {
	rules := map[string]Rule{}
	for _, r := range conditionRows(text) {
		if rule := r[len(r)-1]; rule != "" {
			rules[r[0]] = mustRule(rule)
		}
	}
	return rules
}

// byRule judges a condition that facts alone answer.
func (m *morning) byRule(r Rule) finding {
	got := r.Judge(m.Facts)
	var because []string
	for _, key := range got.Because {
		because = append(because, m.Facts.Say(key))
	}
	switch got.Truth {
	case True:
		return met("%s", strings.Join(because, ", "))
	case False:
		return notMet("%s", strings.Join(because, ", "))
	default:
		because = append(because, "not known: "+names(got.Missing))
		return unknown("%s", strings.Join(because, "; "))
	}
}

// overheadLines is B12.
func overheadLines(m *morning) finding {
	if !m.outdoors {
		return needless("indoor work only")
	}
	return m.byRule(siteRules["B12"])
}

// asbestosKnown is B13: it matters indoors as much as on the roof.
func asbestosKnown(m *morning) finding { return m.byRule(siteRules["B13"]) }

// phasePlan is B15.
func phasePlan(m *morning) finding { return m.byRule(siteRules["B15"]) }

// customerExpects is B17.
func customerExpects(m *morning) finding { return m.byRule(siteRules["B17"]) }

// spareTiles is B18.
func spareTiles(m *morning) finding {
	if !m.roof {
		return needless("no roof work today")
	}
	return m.byRule(siteRules["B18"])
}

// notifyUpTo is the sum of AC ratings at the premises, in amps a phase, up to
// which a system may be connected and notified within 28 days (EREC G98);
// above it the grid operator's approval comes first (EREC G99).
const notifyUpTo = 16.0

// consentsGranted is B14.
func consentsGranted(m *morning) finding {
	var waits, has []string
	grid := false
	for _, c := range m.Consents {
		if !m.does(c.Stage) && !(c.Kind == "grid_connection" && m.does("commissioning")) {
			continue
		}
		grid = grid || c.Kind == "grid_connection"
		name := strings.ReplaceAll(c.Kind, "_", " ")
		if c.Granted {
			has = append(has, name+" granted")
		} else {
			waits = append(waits, name+" not granted")
		}
	}
	if len(waits) > 0 {
		return notMet("%s", strings.Join(waits, "; "))
	}
	if m.does("commissioning") && !grid {
		amps, known := m.Facts["ac_amps_per_phase"]
		switch {
		case !known:
			return unknown("no grid approval recorded, and what the AC ratings add up to is not known (%g A a phase may be notified afterwards)", notifyUpTo)
		case amps.N > notifyUpTo:
			return notMet("AC ratings add up to %g A a phase, above %g A, and no grid approval is recorded", amps.N, notifyUpTo)
		}
		has = append(has, fmt.Sprintf("%g A a phase: connect, then notify within 28 days", amps.N))
	}
	if len(has) == 0 {
		return needless("today's stages wait for no consent")
	}
	return met("%s", strings.Join(has, "; "))
}

// kitOnSite is B16.
func kitOnSite(m *morning) finding {
	if len(m.Kit) == 0 {
		return unknown("no kit list")
	}
	var missing []string
	for _, k := range m.Kit {
		if !k.Arrived {
			missing = append(missing, k.Item)
		}
	}
	if len(missing) > 0 {
		return notMet("not arrived: %s", strings.Join(missing, ", "))
	}
	return met("%d of %d items arrived", len(m.Kit), len(m.Kit))
}

// weatherAllows is B10. The forecast must let the whole window's tightest task
// run. A caution lets it start only when the lead said at the briefing what is
// done about it, and about no less than the forecast says now. Thunder or a
// flash that was logged keeps everybody off for thirty minutes. A reading on
// site at or above the gust limit stops the work; a lower one never overrules
// the forecast.
func weatherAllows(m *morning) finding {
	if !m.outdoors {
		return needless("indoor work only")
	}
	thunder := m.thunder()
	if thunder.state == NotMet {
		return thunder
	}
	reading := m.reading()
	if reading.state == NotMet {
		return reading
	}
	if why := m.forecastFault(); why != "" {
		return unknown("%s", why)
	}
	said := m.forecastSaid()
	switch m.Weather.Verdict {
	case weather.Stop:
		return notMet("%s", said)
	case weather.Go:
	case weather.Caution:
		agreed := m.cautionAgreed()
		if agreed.state != Met {
			return agreed
		}
		said = agreed.value
	default:
		return unknown("%s", said)
	}
	if reading.state == Unknown {
		return reading
	}
	return met("%s%s%s", said, reading.value, thunder.value)
}

// forecastFault says why the judgement is not about today's work; "" when it
// is. A judgement of other hours says nothing about these.
func (m *morning) forecastFault() string {
	j := m.Weather
	switch {
	case j.From.IsZero() && j.Verdict == weather.Unknown && len(j.Reasons) == 0:
		return "no forecast for this window"
	case !j.Task.Outdoor():
		return "the forecast was not judged for outdoor work but for " + j.Task.Doing()
	case m.roof && j.Task != weather.PanelCarrying && j.Task != weather.RoofCovering:
		return "the forecast was judged for " + j.Task.Doing() + ", not for roof work"
	case j.From.After(m.from) || j.To.Before(m.EndAt):
		return fmt.Sprintf("the forecast was judged for %s to %s, not until %s", m.at(j.From), m.at(j.To), m.clock(m.EndAt))
	}
	return ""
}

// reading holds the day's newest reading of the wind on site against the gust
// limit of the forecast's task. It stands until another is read: a later
// briefing without one takes nothing back. No reading at all is no objection:
// the check "weather now" asks for a look, and not every crew has an anemometer.
func (m *morning) reading() finding {
	read := m.newestReading()
	if read == nil {
		return met("")
	}
	limit, known := m.gustLimit()
	switch {
	case !known:
		return unknown("a gust of %.1f m/s was read, and no gust limit is known to hold it against", read.GustMS)
	case !(read.GustMS < limit):
		return notMet("gust of %.1f m/s read on site at %s, limit %.1f m/s", read.GustMS, m.clock(read.At), limit)
	}
	return met("; %.1f m/s read on site", read.GustMS)
}

// newestReading is the day's last reading up to now; of two at one instant the
// higher. It is nil when nobody read the wind today.
func (m *morning) newestReading() *Reading {
	all := m.Readings
	if b := m.briefing; b != nil && b.GustMS.Known {
		all = append(slices.Clone(all), Reading{b.GustMS.N, b.At})
	}
	var newest *Reading
	for i, r := range all {
		if r.At.After(m.now) || civil.DateOf(r.At, m.Location) != m.Day {
			continue
		}
		if newest == nil || r.At.After(newest.At) || r.At.Equal(newest.At) && r.GustMS > newest.GustMS {
			newest = &all[i]
		}
	}
	return newest
}

// gustLimit is the gust from which the judged task stops [m/s].
func (m *morning) gustLimit() (float64, bool) {
	limit := weather.Value{}
	for _, l := range m.Weather.Levels {
		if l.Quantity == weather.WindGust && l.Stop.Known && (!limit.Known || l.Stop.N < limit.N) {
			limit = l.Stop
		}
	}
	return limit.N, limit.Known
}

// forecastSaid gives the reason that weighs most, in one sentence.
func (m *morning) forecastSaid() string {
	if len(m.Weather.Reasons) == 0 {
		return "forecast says " + m.Weather.Verdict.String()
	}
	return m.Weather.Reasons[0].Sentence()
}

// daylight is B20: the work starts in civil twilight or brighter. Where dusk
// falls before the window ends, the crew is clear until dusk.
func daylight(m *morning) finding {
	if !m.outdoors {
		return needless("indoor work only")
	}
	dawn, dusk := m.sun.Dawn, m.sun.Dusk
	switch {
	case dawn.Kind == weather.SunAlwaysAbove && dusk.Kind == weather.SunAlwaysAbove:
		return met("light all day")
	case dawn.Kind == weather.SunAlwaysBelow || dusk.Kind == weather.SunAlwaysBelow:
		return notMet("no civil twilight on %s at this place", m.Day.Short())
	case dawn.Kind == weather.SunUnknown || dusk.Kind == weather.SunUnknown:
		return unknown("where the site is, and so when it grows light, is not known")
	case dawn.Kind == weather.SunCrosses && m.from.Before(dawn.At):
		return notMet("start %s, civil dawn %s", m.clock(m.from), m.clock(dawn.At))
	case dusk.Kind == weather.SunCrosses && !m.from.Before(dusk.At):
		return notMet("start %s, civil dusk %s", m.clock(m.from), m.clock(dusk.At))
	case dusk.Kind == weather.SunCrosses && dusk.At.Before(m.EndAt):
		return met("civil dusk %s: off the roof before then", m.clock(dusk.At))
	}
	return met("light from %s to %s", m.clock(m.from), m.clock(m.EndAt))
}
