package main

import (
	"strings"
	"testing"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// A printed plan says which of its days rest on holidays that nobody knows.
func TestThePrintedPlanSaysHowFarHolidaysAreKnown(t *testing.T) {
	first := civil.On(2028, 12, 18)
	s := schedule.Snapshot{FirstDay: first, Days: 28, Holidays: []schedule.Holiday{{Day: civil.On(2028, 12, 26), Title: "Boxing Day"}, {Day: civil.On(2028, 12, 25), Title: "Christmas Day"}}}
	var out strings.Builder
	printPlan(&out, s, schedule.Plan{Version: 3, FirstDay: first, Days: 28}, 5)
	if want := "Holidays are known up to Tuesday 26 December 2028: every weekday after it, to the plan's end on Sunday 14 January 2029, counts"; !strings.Contains(out.String(), want) {
		t.Errorf("the plan does not say %q:\n%s", want, out.String())
	}
}
