package weather

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// ClimateRow says how many half-days of a month were workable.
type ClimateRow struct {
	Task     Task
	Terrain  Terrain
	Month    time.Month
	Half     civil.Half
	HalfDays int // counted
	Workable int // of them without a stop
}

// Climate is how often each task could have run at each time of the year,
// counted from an hourly record. The zero value knows nothing.
type Climate struct {
	Of   string // where and when the record comes from, in words
	rows map[climateKey]ClimateRow
}

type climateKey struct {
	task    Task
	terrain Terrain
	month   time.Month
	half    civil.Half
}

// NewClimate makes a climate of counted rows. Rows of the same task, terrain,
// month and half-day are added up.
func NewClimate(of string, rows []ClimateRow) Climate {
	c := Climate{Of: of, rows: map[climateKey]ClimateRow{}}
	for _, row := range rows {
		k := climateKey{row.Task, row.Terrain, row.Month, row.Half}
		have := c.rows[k]
		row.HalfDays += have.HalfDays
		row.Workable += have.Workable
		c.rows[k] = row
	}
	return c
}

// Rows gives what was counted for a task and terrain, by month and half-day;
// nothing when it was not counted.
func (c Climate) Rows(task Task, terrain Terrain) (rows []ClimateRow) {
	for month := time.January; month <= time.December; month++ {
		for half := civil.Morning; half <= civil.Afternoon; half++ {
			if row, ok := c.rows[climateKey{task, terrain, month, half}]; ok {
				rows = append(rows, row)
			}
		}
	}
	return rows
}

//go:embed climate.csv
var climateCSV []byte

// DefaultClimate is counted from the typical year of Amsterdam, the open hourly
// record nearest to the British lowlands that was found, with the default
// limits, at 8 m above ground in each terrain, by CountClimate. It gives no
// better than a first guess for a wet hillside or the far north; a firm should
// load its own record.
func DefaultClimate() Climate {
	rows, err := ParseClimate(climateCSV)
	if err != nil {
		return Climate{} // knows nothing; a test keeps this from happening
	}
	return NewClimate("Amsterdam's typical year", rows)
}

var climateHeader = []string{"task", "terrain", "month", "half", "half_days", "workable"}

// ParseClimate reads rows of task, terrain, month (1 to 12), half (morning or
// afternoon), half_days and workable, with that header.
func ParseClimate(text []byte) ([]ClimateRow, error) {
	r := csv.NewReader(bytes.NewReader(text))
	r.FieldsPerRecord = len(climateHeader)
	var rows []ClimateRow
	for line := 1; ; line++ {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		if err != nil {
			return nil, &fault.Error{Kind: fault.Invalid, Field: "climate", Want: "six columns a row", Err: err}
		}
		if line == 1 {
			continue
		}
		row, err := climateRowOf(record)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		rows = append(rows, row)
	}
}

func climateRowOf(record []string) (ClimateRow, error) {
	var row ClimateRow
	if err := row.Task.UnmarshalText([]byte(record[0])); err != nil {
		return row, err
	}
	if err := row.Terrain.UnmarshalText([]byte(record[1])); err != nil {
		return row, err
	}
	var numbers [3]int
	for i, column := range []int{2, 4, 5} {
		n, err := strconv.Atoi(record[column])
		if err != nil || n < 0 {
			return row, fault.Bad(climateHeader[column], record[column], "a whole number")
		}
		numbers[i] = n
	}
	row.Month, row.HalfDays, row.Workable = time.Month(numbers[0]), numbers[1], numbers[2]
	switch record[3] {
	case civil.Morning.String():
		row.Half = civil.Morning
	case civil.Afternoon.String():
		row.Half = civil.Afternoon
	default:
		return row, fault.Bad("half", record[3], "morning or afternoon")
	}
	if row.Month < 1 || row.Month > 12 || row.Workable > row.HalfDays {
		return row, fault.Bad("month, half_days, workable", fmt.Sprint(numbers), "a month of 1 to 12, and no more workable than there were")
	}
	return row, nil
}

// chance gives the climate's chance for a task at a place and a time of year,
// by the clock the start is given in.
func (c Climate) chance(rs *rules, start time.Time) Chance {
	half := civil.Morning
	if start.Hour() >= 12 {
		half = civil.Afternoon
	}
	row, ok := c.rows[climateKey{rs.task, rs.place.Terrain, start.Month(), half}]
	if !ok || row.HalfDays == 0 {
		return Chance{Basis: "no climate is known for it"}
	}
	p := float64(row.Workable+1) / float64(row.HalfDays+2)
	return Chance{Known: true, P: bounded(p), Basis: fmt.Sprintf("climate of %s %ss %.0f%%", start.Month(), half, 100*p)}
}

// climateHeightM is the working height for which DefaultClimate was counted:
// the eaves and the lower roof of a two-storey house (common practice, no
// source).
const climateHeightM = 8

// CountClimate counts the workable half-days of an hourly record, one row for
// each task, terrain, month and half. Days and hours are those of loc, the zone
// of the record's clock. Half-days of which something is unknown are left out.
// Daylight is not counted: the almanac knows it better.
//
// Where the record has no gusts they are taken from the mean wind by the middle
// of the observed gust factors, not by the cautious end that decides about
// single hours: this counts how often, and caution would count twice.
func CountClimate(m Member, l Limits, hours civil.Hours, loc *time.Location) ([]ClimateRow, error) {
	if len(m.Hours) == 0 || loc == nil {
		return nil, fault.Bad("record", "", "hours and the zone of their clock")
	}
	record := withLikelyGusts(m)
	first := civil.DateOf(record.Hours[0].From, loc)
	last := civil.DateOf(record.Hours[len(record.Hours)-1].From, loc)
	var rows []ClimateRow
	for _, task := range OutdoorTasks() {
		for terrain := Terrain0; terrain <= TerrainIV; terrain++ {
			rs, err := rulesFor(l, Place{Terrain: terrain, HeightM: climateHeightM}, task, nil)
			if err != nil {
				return nil, err
			}
			counted := [13][2]ClimateRow{}
			for h := first.In(civil.Morning); h <= last.In(civil.Afternoon); h++ {
				from, to := hours.Window(h, loc)
				_, month, _ := h.Date().Civil()
				row := &counted[month][h.Half()]
				switch rs.passes(&record, from, to) {
				case Go, Caution:
					row.HalfDays++
					row.Workable++
				case Stop:
					row.HalfDays++
				}
			}
			for month := time.January; month <= time.December; month++ {
				for half := civil.Morning; half <= civil.Afternoon; half++ {
					row := counted[month][half]
					rows = append(rows, ClimateRow{task, terrain, month, half, row.HalfDays, row.Workable})
				}
			}
		}
	}
	return rows, nil
}

func withLikelyGusts(m Member) Member {
	out := Member{Name: m.Name, Hours: make([]Hour, len(m.Hours))}
	copy(out.Hours, m.Hours)
	for i := range out.Hours {
		if h := &out.Hours[i]; h.WindMean.Known && !h.WindGust.Known {
			h.WindGust = Is(math.Max(h.WindMean.N, likelyGustFrom(h.WindMean.N)))
		}
	}
	return out
}
