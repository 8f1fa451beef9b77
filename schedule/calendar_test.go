package schedule_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

func table(t *testing.T, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

// holidaysOf reads one division's bank holidays as published; see
// testdata/holidays/SOURCE.md.
func holidaysOf(t *testing.T, division string) (days []schedule.Holiday) {
	t.Helper()
	for _, row := range table(t, "../testdata/holidays/bank_holidays.csv") {
		if row[0] == division {
			days = append(days, schedule.Holiday{Day: civil.MustParse(row[1]), Title: row[2], Source: row[4]})
		}
	}
	if len(days) == 0 {
		t.Fatalf("no bank holidays of %s", division)
	}
	return days
}

func TestWorkingDaysAgainstTable(t *testing.T) {
	t.Parallel()
	for _, row := range table(t, "../testdata/holidays/working_day_checks.csv") {
		n, err := strconv.Atoi(row[2])
		if err != nil {
			t.Fatal(err)
		}
		holidays := holidaysOf(t, row[0])
		from, want := civil.MustParse(row[1]), civil.MustParse(row[3])
		if got := schedule.AddWorkingDays(from, n, holidays); got != want {
			t.Errorf("%s: %s + %d working days = %s, the table has %s", row[0], from, n, got, want)
		}
		// Back again: the day that is reached is a working day, so as many steps
		// back end on the last working day on or before the start.
		back := schedule.AddWorkingDays(want, -n, holidays)
		if back > from || schedule.AddWorkingDays(back, n, holidays) != want {
			t.Errorf("%s: %s - %d working days = %s", row[0], want, n, back)
		}
		if !schedule.WorkingDay(want, holidays) {
			t.Errorf("%s: %s is reached by counting working days but is none", row[0], want)
		}
	}
}

func TestWorkingDay(t *testing.T) {
	t.Parallel()
	holidays := holidaysOf(t, "scotland")
	for day, want := range map[string]bool{
		"2026-11-27": true,  // Friday
		"2026-11-28": false, // Saturday
		"2026-11-29": false, // Sunday
		"2026-11-30": false, // St Andrew's Day
		"2026-06-15": false, // one-off bank holiday, in no library
		"2026-12-01": true,
	} {
		if got := schedule.WorkingDay(civil.MustParse(day), holidays); got != want {
			t.Errorf("%s a working day in Scotland: %t, want %t", day, got, want)
		}
	}
	if got := schedule.AddWorkingDays(civil.NoDate, 3, holidays); got.Known() {
		t.Errorf("3 working days after the unknown date: %s, want unknown", got)
	}
	sunday := civil.MustParse("2026-11-29")
	if got := schedule.AddWorkingDays(sunday, 0, holidays); got != sunday {
		t.Errorf("0 working days after %s: %s", sunday, got)
	}
}
