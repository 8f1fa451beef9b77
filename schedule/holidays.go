package schedule

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strings"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

//go:embed holidays.csv
var holidaysCSV string

// BankHolidays gives the public holidays of a division (england-and-wales,
// scotland, northern-ireland) that this version of the program knows, as start
// values: a firm edits its own list, since one-off days are in no library. Each
// says where it comes from; days past the last one are not known.
func BankHolidays(division string) ([]Holiday, error) {
	rows, err := csv.NewReader(strings.NewReader(holidaysCSV)).ReadAll()
	if err != nil {
		return nil, err
	}
	var all []Holiday
	for _, r := range rows[1:] {
		if r[0] != division {
			continue
		}
		day, err := civil.Parse(r[1])
		if err != nil {
			return nil, err
		}
		all = append(all, Holiday{Day: day, Title: r[2], Source: r[3]})
	}
	if len(all) == 0 {
		return nil, fault.Bad("division", division, "england-and-wales, scotland or northern-ireland")
	}
	return all, nil
}

// HolidaysKnown says in a sentence up to which day a firm's holidays are known,
// and what a plan that ends on last takes the days after it for.
func HolidaysKnown(holidays []Holiday, last civil.Date) string {
	known := civil.NoDate
	for _, h := range holidays {
		if !known.Known() || h.Day > known {
			known = h.Day
		}
	}
	switch {
	case !known.Known():
		return "No holidays are known: every weekday counts as a working day."
	case last > known:
		return fmt.Sprintf("Holidays are known up to %s: every weekday after it, to the plan's end on %s, counts as a working day.", known.Long(), last.Long())
	}
	return fmt.Sprintf("Holidays are known up to %s.", known.Long())
}
