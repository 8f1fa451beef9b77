package safety

import (
	"fmt"
	"time"

	"toeboard/weather"
)

// thunder holds what was logged of thunder and lightning against the clock: off
// the roof for thirty minutes after the last one. The clock can only forbid: that
// nothing is logged says nothing about the sky. An entry without a time is one
// that nobody can count from, and counts as now.
func (m *morning) thunder() finding {
	last := m.lastThunder()
	if last == nil {
		return met("")
	}
	clock := weather.ThunderAt([]time.Time{last.At}, m.now)
	where := ""
	if last.JobRef != m.JobRef {
		where = fmt.Sprintf(" at %s, %.0f km away", last.JobRef, last.Km)
	}
	said := fmt.Sprintf("%s%s at %s (%s)", last.Words(), where, m.clock(clock.Last), last.By)
	if clock.Stop {
		return notMet("%s: roof again from %s at the earliest, 30 minutes after the last one", said, m.clock(clock.Until))
	}
	return met("; %s, over 30 minutes ago", said)
}

// lastThunder is the newest entry of the log; nil = none.
func (m *morning) lastThunder() *Thunder {
	var last *Thunder
	for i := range m.Thunder {
		t := m.Thunder[i]
		if t.At.IsZero() {
			t.At = m.now
		}
		if last == nil || t.At.After(last.At) {
			last = &t
		}
	}
	return last
}

// Words says what was logged: "thunder heard".
func (t Thunder) Words() string {
	if t.What == LightningSeen {
		return "lightning seen"
	}
	return "thunder heard"
}

// RoofAgain tells from when the thunder clock lets a crew back, and what started
// it; zero when it does not run at an instant.
func RoofAgain(s Snapshot, now time.Time) (from time.Time, last Thunder) {
	m := morning{Snapshot: s, now: now}
	t := m.lastThunder()
	if t == nil {
		return time.Time{}, Thunder{}
	}
	clock := weather.ThunderAt([]time.Time{t.At}, now)
	if !clock.Stop {
		return time.Time{}, *t
	}
	return clock.Until, *t
}
