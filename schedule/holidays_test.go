package schedule_test

import (
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
