package safety

import (
	"strings"
	"testing"
	"time"

	"toeboard/weather"
)

// The clock of thunder: off the roof for 30 minutes after the last thunder
// (guidance of national weather services: wait 30 minutes after the last thunder
// before going out again), each new one starts it again, and nothing else that
// is known makes it run shorter.
func TestThunderKeepsEverybodyOffForHalfAnHour(t *testing.T) {
	t.Parallel()
	loc := london(t)
	at := func(hour, minute int) time.Time { return monday.At(hour, minute, loc).UTC() }
	heard := func(times ...time.Time) []Thunder {
		var all []Thunder
		for _, x := range times {
			all = append(all, Thunder{What: ThunderHeard, At: x, By: "Rhodri Pask", JobRef: "Q-1041"})
		}
		return all
	}
	for name, c := range map[string]struct {
		now   time.Time
		log   []Thunder
		calm  bool // a reading on site far below the limit
		state State
		says  string
	}{
		"nothing logged":                {at(10, 20), nil, false, Met, "go"},
		"8 minutes ago":                 {at(10, 20), heard(at(10, 12)), false, NotMet, "thunder heard at 10:12 (Rhodri Pask): roof again from 10:42 at the earliest, 30 minutes after the last one"},
		"8 minutes ago, and calm":       {at(10, 20), heard(at(10, 12)), true, NotMet, "roof again from 10:42"},
		"29 minutes ago":                {at(10, 41), heard(at(10, 12)), false, NotMet, "10:42"},
		"30 minutes ago":                {at(10, 42), heard(at(10, 12)), false, Met, "thunder heard at 10:12 (Rhodri Pask), over 30 minutes ago"},
		"another one starts it again":   {at(10, 42), heard(at(10, 12), at(10, 30)), false, NotMet, "roof again from 11:00"},
		"the last one counts, any row":  {at(10, 42), heard(at(10, 30), at(10, 12)), false, NotMet, "roof again from 11:00"},
		"one that nobody can date":      {at(10, 42), heard(time.Time{}), false, NotMet, "roof again from 11:12"},
		"one of a clock that runs fast": {at(10, 10), heard(at(10, 12)), false, NotMet, "roof again from 10:42"},
		"lightning at a job near by": {at(10, 20), []Thunder{{What: LightningSeen, At: at(10, 12), By: "Dele Ashworth", JobRef: "Q-1042", Km: 11.6}}, false, NotMet,
			"lightning seen at Q-1042, 12 km away at 10:12 (Dele Ashworth)"},
	} {
		w := clearMorning(t)
		w.now, w.Thunder = c.now, c.log
		if c.calm {
			w.Readings = []Reading{{1, c.now}}
		}
		d := w.decide()
		b10 := d.find("B10")
		if b10.State != c.state || !strings.Contains(b10.Value, c.says) {
			t.Errorf("%s: %s", name, b10.Sentence())
		}
		if clear := d.Verdict == Clear; clear != (c.state == Met) {
			t.Errorf("%s: %s", name, d.Verdict)
		}
		from, _ := RoofAgain(w.Snapshot, c.now)
		if running := !from.IsZero(); running != (c.state == NotMet) {
			t.Errorf("%s: roof again from %s", name, from)
		}
	}
}

// That half an hour is over clears nothing by itself: a forecast that says stop
// or nothing keeps the crew off as before.
func TestAfterThunderTheForecastStillCounts(t *testing.T) {
	t.Parallel()
	for verdict, want := range map[weather.Verdict]State{weather.Stop: NotMet, weather.Unknown: Unknown} {
		w := clearMorning(t)
		w.Thunder = []Thunder{{What: ThunderHeard, At: w.now.Add(-time.Hour), By: "Rhodri Pask", JobRef: w.JobRef}}
		w.Weather.Verdict = verdict
		if s := w.decide().state("B10"); s != want {
			t.Errorf("%s: %s", verdict, s)
		}
	}
}
