package schedule_test

import (
	"slices"
	"testing"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// Days published by the government for 2026, and Scotland's one-off Monday,
// which was announced apart and is in no library.
func TestBankHolidaysByDivision(t *testing.T) {
	for _, c := range []struct {
		division, day string
		want          bool
	}{
		{"england-and-wales", "2026-12-28", true}, // Boxing Day in lieu
		{"england-and-wales", "2026-01-02", false},
		{"scotland", "2026-01-02", true},
		{"scotland", "2026-06-15", true},
		{"england-and-wales", "2026-06-15", false},
		{"northern-ireland", "2026-07-13", true},
	} {
		all, err := schedule.BankHolidays(c.division)
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, h := range all {
			found = found || h.Day == civil.MustParse(c.day)
		}
		if found != c.want {
			t.Errorf("%s in %s: holiday %v, want %v", c.day, c.division, found, c.want)
		}
	}
	if _, err := schedule.BankHolidays("wales"); err == nil {
		t.Error("an unknown division was taken for one without holidays")
	}
}

// A plan tells up to where its working days rest on known holidays. The start
// values end with Boxing Day 2028.
func TestHowFarHolidaysAreKnown(t *testing.T) {
	t.Parallel()
	all, err := schedule.BankHolidays("england-and-wales")
	if err != nil {
		t.Fatal(err)
	}
	slices.Reverse(all) // whatever their order
	for _, c := range []struct {
		holidays []schedule.Holiday
		last     civil.Date
		want     string
	}{
		{all, civil.On(2028, 12, 26), "Holidays are known up to Tuesday 26 December 2028."},
		{all, civil.On(2029, 1, 5), "Holidays are known up to Tuesday 26 December 2028: every weekday after it, to the plan's end on Friday 5 January 2029, counts as a working day."},
		{nil, civil.On(2026, 12, 26), "No holidays are known: every weekday counts as a working day."},
	} {
		if got := schedule.HolidaysKnown(c.holidays, c.last); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
