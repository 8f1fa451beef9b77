package weather

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"

	"toeboard/weather/fault"
)

// Mark says how well a limit's source is known.
type Mark string

// The marks, as limit files write them.
const (
	FirmsOwn   Mark = "firm"        // nobody published a figure: the firm's own rule
	SecondHand Mark = "second-hand" // read in a page that quotes the document
	Read       Mark = "read"        // read in the document itself
)

// Limit is the two levels of one quantity for one task. High values of most
// quantities stop work from the level on; of temperature, frost risk and
// daylight the low ones do, from the level down. Where a quantity has only a
// caution level, not knowing it can hide no more than a caution.
type Limit struct {
	Task     Task     `json:"task"` // Outdoors for all outdoor tasks that have no row of their own
	Quantity Quantity `json:"quantity"`
	Hours    int      `json:"hours,omitempty"` // RecentRain: how many hours before the work count
	Caution  Value    `json:"caution"`         // unknown: no such level
	Stop     Value    `json:"stop"`            // unknown: no such level; for ages the forecast no longer counts
	Unit     string   `json:"unit"`
	Source   string   `json:"source"`
	Mark     Mark     `json:"mark"`
}

// Limits is one version of a firm's limits. Versions are never edited: a plan
// or a decision names the version it was made with.
type Limits struct {
	Version int     `json:"version"`
	Rows    []Limit `json:"rows"`
}

//go:embed limits.csv
var limitsCSV []byte

// DefaultLimits gives the limits a firm starts with, as version 1: guidance
// where there is any, marked where it was read second-hand, else proposals that
// the firm makes its own. It decides, nobody else.
func DefaultLimits() Limits {
	l, err := ParseLimits(limitsCSV)
	if err != nil {
		return Limits{} // without limits every verdict is unknown; a test keeps this from happening
	}
	return l
}

var limitsHeader = []string{"task", "quantity", "hours", "caution", "stop", "unit", "source", "mark"}

// ParseLimits reads limits from CSV with the header task, quantity, hours,
// caution, stop, unit, source, mark, as version 1, and checks them. All bad
// rows are named, by line and column.
func ParseLimits(text []byte) (Limits, error) {
	r := csv.NewReader(bytes.NewReader(text))
	r.FieldsPerRecord = len(limitsHeader)
	header, err := r.Read()
	if err != nil {
		return Limits{}, &fault.Error{Kind: fault.Invalid, Field: "limits", Want: "a CSV file with a header", Err: err}
	}
	for i, name := range limitsHeader {
		if header[i] != name {
			return Limits{}, fault.Bad(fmt.Sprintf("line 1, column %d", i+1), header[i], name)
		}
	}
	l := Limits{Version: 1}
	var faults []error
	for {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return Limits{}, &fault.Error{Kind: fault.Invalid, Field: "limits", Want: "eight columns a row", Err: err}
		}
		line, _ := r.FieldPos(0)
		row, err := limitOf(record)
		if err != nil {
			faults = append(faults, fmt.Errorf("line %d: %w", line, err))
			continue
		}
		l.Rows = append(l.Rows, row)
	}
	if len(faults) > 0 {
		return Limits{}, errors.Join(faults...)
	}
	return l, l.Check()
}

func limitOf(record []string) (Limit, error) {
	row := Limit{Unit: record[5], Source: record[6], Mark: Mark(record[7])}
	if err := row.Task.UnmarshalText([]byte(record[0])); err != nil {
		return Limit{}, err
	}
	if err := row.Quantity.UnmarshalText([]byte(record[1])); err != nil {
		return Limit{}, err
	}
	if record[2] != "" {
		hours, err := strconv.Atoi(record[2])
		if err != nil {
			return Limit{}, fault.Bad("hours", record[2], "a whole number of hours, or nothing")
		}
		row.Hours = hours
	}
	for _, level := range []struct {
		field, text string
		into        *Value
	}{{"caution", record[3], &row.Caution}, {"stop", record[4], &row.Stop}} {
		if level.text == "" {
			continue
		}
		n, err := strconv.ParseFloat(level.text, 64)
		if err != nil || !Is(n).Known {
			return Limit{}, fault.Bad(level.field, level.text, "a number, or nothing for no such level")
		}
		*level.into = Is(n)
	}
	return row, nil
}

// mustStop are the quantities for which every outdoor task needs a stop level:
// a firm may set its own figure but cannot leave the question out.
var mustStop = []Quantity{WindMean, WindGust, Rain, Temperature, Lightning, Daylight, FetchAge}

// Check says what is wrong with the limits, all of it joined.
func (l Limits) Check() error {
	var faults []error
	if l.Version < 1 {
		faults = append(faults, fault.Bad("version", strconv.Itoa(l.Version), "1 or more"))
	}
	type key struct {
		Task
		Quantity
	}
	seen := map[key]bool{}
	for i, row := range l.Rows {
		if err := row.check(); err != nil {
			faults = append(faults, fmt.Errorf("row %d (%s, %s): %w", i+1, row.Task, row.Quantity, err))
		}
		k := key{row.Task, row.Quantity}
		if seen[k] {
			faults = append(faults, fmt.Errorf("row %d: %w", i+1, fault.Bad(row.Quantity.String(), row.Task.String(), "one row for each task and quantity")))
		}
		seen[k] = true
	}
	for _, task := range OutdoorTasks() {
		for _, q := range mustStop {
			if row, ok := l.find(task, q); !ok || !row.Stop.Known {
				faults = append(faults, fault.Bad("limits", task.String(), "a stop level for "+q.String()))
			}
		}
	}
	return errors.Join(faults...)
}

func (row Limit) check() error {
	switch {
	case !row.Task.Outdoor() && row.Task != Outdoors:
		return fault.Bad("task", row.Task.String(), "an outdoor task; indoor work has no weather limit")
	case !row.Quantity.Known():
		return fault.Bad("quantity", row.Quantity.String(), "a known quantity")
	case row.Quantity == OfficialWarning || row.Quantity == LowSun:
		return fault.Bad("quantity", row.Quantity.String(), "a quantity that is measured: what a warning or low sun does is no limit of the firm")
	case row.Unit != row.Quantity.Unit():
		return fault.Bad("unit", row.Unit, "the unit of "+row.Quantity.String()+": "+strconv.Quote(row.Quantity.Unit()))
	case !row.Caution.Known && !row.Stop.Known:
		return fault.Bad("caution and stop", "", "at least one level")
	case row.Source == "":
		return fault.Bad("source", "", "who says so, or the firm's own reason")
	case row.Mark != FirmsOwn && row.Mark != SecondHand && row.Mark != Read:
		return fault.Bad("mark", string(row.Mark), "firm, second-hand or read")
	case row.Quantity == RecentRain && (row.Hours < 1 || row.Hours > 72):
		return fault.Bad("hours", strconv.Itoa(row.Hours), "1 to 72 hours before the work")
	case row.Quantity != RecentRain && row.Hours != 0:
		return fault.Bad("hours", strconv.Itoa(row.Hours), "nothing, except for recent_rain")
	case row.Quantity == Lightning && (row.Caution.Known || row.Stop.N != 1):
		return fault.Bad("stop", fmt.Sprint(row.Stop.N), "1 and no caution: a thunderstorm is there or not")
	}
	if row.Caution.Known && row.Stop.Known {
		if gap := row.Stop.N - row.Caution.N; (row.Quantity.LowStops() && gap > 0) || (!row.Quantity.LowStops() && gap < 0) {
			return fault.Bad("caution", fmt.Sprint(row.Caution.N), fmt.Sprintf("a level that comes before stop at %v", row.Stop.N))
		}
	}
	for _, level := range []Value{row.Caution, row.Stop} {
		if fits := limitRange(row.Quantity); level.Known && !fits.Keep(level).Known {
			return fault.Bad("level", fmt.Sprint(level.N), fmt.Sprintf("between %v and %v %s", fits.Low, fits.High, row.Unit))
		}
	}
	return nil
}

// limitRange keeps slips of the finger out of the limits, and levels that no
// weather would ever meet.
func limitRange(q Quantity) Range {
	switch q {
	case WindMean, WindGust:
		return Range{1, 25}
	case Rain:
		return Range{0.01, 50}
	case RecentRain:
		return Range{0.01, 200}
	case Temperature:
		return Range{-20, 20}
	case FrostRisk:
		return Range{-10, 10}
	case Daylight:
		return Range{0, 240}
	case FetchAge, RunAge:
		return Range{0.5, 72}
	case RoofFilm:
		return Range{0.01, 5}
	case Heat:
		return Range{20, 60}
	case Cold:
		return Range{-50, 10}
	case Visibility:
		return Range{10, 5000}
	case StepLength:
		return Range{1, 24}
	case Agreement:
		return Range{1, 100}
	default:
		return Range{1, 1}
	}
}

// find gives the row for a task and quantity: the task's own, else that of the
// task it is like, else the one for all outdoor tasks.
func (l Limits) find(task Task, q Quantity) (Limit, bool) {
	for _, of := range []Task{task, task.like(), Outdoors} {
		for _, row := range l.Rows {
			if row.Quantity == q && row.Task == of {
				return row, true
			}
		}
	}
	return Limit{}, false
}

// Says gives the source with its mark, as a reason shows it.
func (row Limit) Says() string {
	switch row.Mark {
	case SecondHand:
		return row.Source + "; read second-hand, check against the original"
	case Read:
		return row.Source
	default:
		return row.Source + "; firm's own rule"
	}
}
