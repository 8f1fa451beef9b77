package main

import (
	"strings"
	"testing"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
)

func TestPrintReplay(t *testing.T) {
	t.Parallel()
	first := civil.MustParse("2026-12-07")
	one, two, three := uuid.MustParse("00000000-0000-7000-8000-000000000001"), uuid.MustParse("00000000-0000-7000-8000-000000000002"), uuid.MustParse("00000000-0000-7000-8000-000000000003")
	s := schedule.Snapshot{Jobs: []schedule.Job{{ID: one, Ref: "Q-1"}, {ID: two, Ref: "Q-2"}, {ID: three, Ref: "Q-3"}}}
	p := schedule.Plan{Choice: &schedule.Choice{Say: "2 plans were compared."}, Replay: &schedule.Replayed{Futures: 62, From: first, Until: first + 125, Promises: 1, Kept: 0.71, CannotSay: 1, Lost: 2.25,
		Jobs: []schedule.JobReplay{
			{Job: one, Finish: schedule.FinishSpread, Planned: first + 3, P10: first + 3, P50: first + 4, P90: civil.NoDate, Promised: first + 4, Chance: weather.Chance{Known: true, P: 0.703}, Hire: 45_00, Lost: 2.25},
			{Job: two, Finish: schedule.FinishUnknown, Why: "Nobody can say: no future is known.", Planned: first + 5, Promised: first + 9},
			{Job: three, Finish: schedule.FinishDone},
		}}}
	var out strings.Builder
	printReplay(&out, s, p, true)
	for _, want := range []string{"in 62 possible weathers", "0.7 of 1 on average", "1, of which nobody can say", "nobody can say: weather that it needs", "2 plans were compared.",
		"Q-1  Thu 10 Dec  Thu 10 Dec  Fri 11 Dec  later       Fri 11 Dec  70%   2.2   £45.00", "Nobody can say: no future is known."} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is missing in\n%s", want, out.String())
		}
	}
	if strings.Contains(out.String(), "Q-3") {
		t.Errorf("a job with nothing left is listed:\n%s", out.String())
	}
	out.Reset()
	printReplay(&out, s, schedule.Plan{}, true)
	if !strings.Contains(out.String(), "Nobody can say") || strings.Contains(out.String(), "£") {
		t.Errorf("without a replay:\n%s", out.String())
	}
}
