package schedule

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"toeboard/weather/fault"
)

// Rates are the firm's own prices for what a plan does to it, and the few rules
// of planning that are the firm's to set. Each has a start value in
// DefaultRates; all of them are the firm's to change. MODEL.md section 4 says
// what each is multiplied with.
type Rates struct {
	LatePerDay        Pence   `json:"late_per_day_pence"`        // each working day after a promised date of which the customer was not told yet
	LateTold          Pence   `json:"late_told_per_day_pence"`   // the same once the customer was told
	LateGrowth        int     `json:"late_growth_percent"`       // by how much of it a late day costs more with each week of 5 working days that it is late already, 0..100
	IdleShare         int     `json:"idle_share_percent"`        // share of an idle half-day's pay that counts, 0..100
	TravelPerKm       Pence   `json:"travel_per_km_pence"`       // van and time, per road kilometre
	RoadFactor        float64 `json:"road_factor"`               // road km per great-circle km, where the firm gave no distance
	LostRoofHalfDay   Pence   `json:"lost_roof_half_day_pence"`  // a half-day that weather takes from a roof crew
	LostScaffoldVisit Pence   `json:"lost_scaffold_visit_pence"` // an erection or strike that weather moves
	MovedVisit        Pence   `json:"moved_visit_pence"`         // a published visit moved, 28 days ahead or more
	MovedSoon         Pence   `json:"moved_soon_pence"`          // the same within a week of its day; in between it rises evenly
	MovedConfirmed    Pence   `json:"moved_confirmed_pence"`     // besides, when the customer confirmed the day that it moves from
	MovedBooking      Pence   `json:"moved_booking_pence"`       // a confirmed scaffold booking moved
	UnplannedStage    Pence   `json:"unplanned_stage_pence"`     // a stage left out of the horizon though it could start
	IdleScaffoldDay   Pence   `json:"idle_scaffold_day_pence"`   // a day of the included weeks on which a scaffold stands beyond the days of its work
	Handover          Pence   `json:"handover_pence"`            // an electrical stage done by another crew than the one before it
	OvertimePercent   int     `json:"overtime_percent"`          // pay of a Saturday half-day, percent of the usual; 0 = crews do not work on Saturdays; 0..500
	LeastChance       int     `json:"least_chance_percent"`      // no outdoor half-day is planned whose chance is lower, 0..90
	FrozenDays        int     `json:"frozen_days"`               // [working days] in which published visits stay, 0..60
}

// DefaultRates are start values, the firm's own to change (common practice, no
// source).
func DefaultRates() Rates {
	return Rates{
		LatePerDay: 60_00, LateTold: 90_00, LateGrowth: 10, IdleShare: 50, TravelPerKm: 90, RoadFactor: 1.3,
		LostRoofHalfDay: 220_00, LostScaffoldVisit: 180_00,
		MovedVisit: 25_00, MovedSoon: 90_00, MovedConfirmed: 150_00, MovedBooking: 120_00, UnplannedStage: 500_00,
		IdleScaffoldDay: 4_00, Handover: 40_00, OvertimePercent: 0, LeastChance: 10, FrozenDays: FrozenDays,
	}
}

// RatesVersion is the rates that a firm set, when and by whom. Version 1 is
// what it began with, and has neither.
type RatesVersion struct {
	Rates
	Version int
	SetBy   string
	SetAt   time.Time
}

// RateUnit is in what a rate is counted.
type RateUnit string

// The units of rates.
const (
	Pounds      RateUnit = "£"
	Percent     RateUnit = "%"
	Times       RateUnit = "times"
	WorkingDays RateUnit = "working days"
)

// RateField is one rate as people set it: what it is called, what it is paid
// for, and its bounds in its unit.
type RateField struct {
	Key  string // as in JSON and forms
	Name string // as errors name it
	For  string // what it is paid or asked for
	Unit RateUnit
	Most float64 // the least is 0
	at   func(*Rates) any
}

// RateFields lists every rate in the order in which it is shown.
var RateFields = []RateField{
	{"late_per_day_pence", "late per day", "each working day after a promised date, while the customer was not told that date", Pounds, mostPounds, func(r *Rates) any { return &r.LatePerDay }},
	{"late_told_per_day_pence", "late per day once told", "each working day after a promised date that the customer was told", Pounds, mostPounds, func(r *Rates) any { return &r.LateTold }},
	{"late_growth_percent", "late growth", "how much dearer a late day is with each week that it is late already", Percent, 100, func(r *Rates) any { return &r.LateGrowth }},
	{"moved_visit_pence", "moved visit", "a published visit moved, 28 days ahead or more", Pounds, mostPounds, func(r *Rates) any { return &r.MovedVisit }},
	{"moved_soon_pence", "moved soon", "a published visit moved within 7 days of its day; in between it rises evenly", Pounds, mostPounds, func(r *Rates) any { return &r.MovedSoon }},
	{"moved_confirmed_pence", "moved confirmed", "besides, when the customer had confirmed the day", Pounds, mostPounds, func(r *Rates) any { return &r.MovedConfirmed }},
	{"moved_booking_pence", "moved booking", "besides, when the scaffold firm had confirmed the day", Pounds, mostPounds, func(r *Rates) any { return &r.MovedBooking }},
	{"frozen_days", "frozen days", "the first working days, in which published visits stay as they are", WorkingDays, 60, func(r *Rates) any { return &r.FrozenDays }},
	{"unplanned_stage_pence", "unplanned stage", "a stage left out of the plan though it could be done", Pounds, mostPounds, func(r *Rates) any { return &r.UnplannedStage }},
	{"idle_scaffold_day_pence", "idle scaffold day", "a day of the included weeks on which a scaffold stands beyond its work", Pounds, mostPounds, func(r *Rates) any { return &r.IdleScaffoldDay }},
	{"lost_scaffold_visit_pence", "lost scaffold visit", "an erection or strike that weather moves, times the chance that it does", Pounds, mostPounds, func(r *Rates) any { return &r.LostScaffoldVisit }},
	{"lost_roof_half_day_pence", "lost roof half-day", "a half-day that weather takes from a roof crew, times the chance that it does", Pounds, mostPounds, func(r *Rates) any { return &r.LostRoofHalfDay }},
	{"least_chance_percent", "least chance", "no outdoor half-day is planned whose chance of fit weather is lower", Percent, 90, func(r *Rates) any { return &r.LeastChance }},
	{"idle_share_percent", "idle share", "share of a crew's pay that an idle half-day counts, less the further off it is", Percent, 100, func(r *Rates) any { return &r.IdleShare }},
	{"overtime_percent", "overtime", "pay of a Saturday half-day in percent of a usual one; 0 = no crew works on Saturdays", Percent, 500, func(r *Rates) any { return &r.OvertimePercent }},
	{"handover_pence", "hand-over", "an electrical stage done by another crew than the stage before it", Pounds, mostPounds, func(r *Rates) any { return &r.Handover }},
	{"travel_per_km_pence", "travel per km", "van and time for each kilometre by road", Pounds, mostPounds, func(r *Rates) any { return &r.TravelPerKm }},
	{"road_factor", "road factor", "kilometres by road for each in a straight line, where no distance is known", Times, 10, func(r *Rates) any { return &r.RoadFactor }},
}

// mostPence bounds every rate, so that no sum of a plan can run over.
const (
	mostPence  Pence = 1_000_000_00
	mostPounds       = float64(mostPence / 100)
)

// Text writes a rate as a person types it: pounds with pence, whole percents.
func (f RateField) Text(r Rates) string {
	switch x := f.at(&r).(type) {
	case *Pence:
		return strings.NewReplacer("£", "", ",", "").Replace(x.String())
	case *int:
		return strconv.Itoa(*x)
	default:
		return strconv.FormatFloat(*x.(*float64), 'f', -1, 64)
	}
}

// Set reads what Text writes. It is Invalid when the text is no such number;
// whether it is in bounds, Check says.
func (f RateField) Set(r *Rates, text string) error {
	text = strings.TrimSpace(text)
	switch x := f.at(r).(type) {
	case *Pence:
		pounds, err := strconv.ParseFloat(strings.TrimPrefix(text, "£"), 64)
		pence := math.Round(pounds * 100)
		if err != nil || math.Abs(pounds*100-pence) > 1e-6 || math.Abs(pounds) > 1e12 {
			return fault.Bad(f.Name, text, "pounds and pence, such as 60 or 12.50")
		}
		*x = Pence(pence)
	case *int:
		n, err := strconv.Atoi(text)
		if err != nil {
			return fault.Bad(f.Name, text, "a whole number of "+string(f.Unit))
		}
		*x = n
	case *float64:
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return fault.Bad(f.Name, text, "a number such as 1.3")
		}
		*x = v
	}
	return nil
}

// Check holds rates against their bounds, and against each other. It names
// every fault at once.
func (r Rates) Check() error {
	c := &bounds{}
	for _, f := range RateFields {
		x := f.number(r)
		if x >= 0 && x <= f.Most { // NaN is not
			continue
		}
		want := fmt.Sprintf("0 to %s %s", plainNumber(f.Most), f.Unit)
		if f.Unit == Pounds {
			want = "£0 to " + mostPence.String()
		}
		c.add(f.Name, f.Text(r), want)
	}
	if r.MovedVisit >= 0 && r.MovedSoon >= 0 && r.MovedSoon < r.MovedVisit {
		c.add("moved soon", r.MovedSoon.String(), "not less than moved visit, "+r.MovedVisit.String()+": moving costs more as the day nears")
	}
	if r.LatePerDay >= 0 && r.LateTold >= 0 && r.LateTold < r.LatePerDay {
		c.add("late per day once told", r.LateTold.String(), "not less than late per day, "+r.LatePerDay.String())
	}
	return errors.Join(c.bad...)
}

// number gives a rate in its unit.
func (f RateField) number(r Rates) float64 {
	switch x := f.at(&r).(type) {
	case *Pence:
		return float64(*x) / 100
	case *int:
		return float64(*x)
	default:
		return *x.(*float64)
	}
}

// Changes says in words what differs from older rates, one line a rate.
func (r Rates) Changes(old Rates) (list []string) {
	for _, f := range RateFields {
		if was, is := f.words(old), f.words(r); was != is {
			list = append(list, fmt.Sprintf("%s: %s becomes %s (%s)", f.Name, was, is, f.For))
		}
	}
	return list
}

func (f RateField) words(r Rates) string {
	switch f.Unit {
	case Pounds:
		return f.at(&r).(*Pence).String()
	case Percent:
		return f.Text(r) + "%"
	default:
		return f.Text(r) + " " + string(f.Unit)
	}
}

// ParseRates reads rates from JSON as RatesJSON writes it. Every rate must be
// there, and nothing else; each fault is named by its key.
func ParseRates(text []byte) (Rates, error) {
	var given map[string]json.RawMessage
	if err := json.Unmarshal(text, &given); err != nil {
		return Rates{}, fault.Bad("rates", "", "a JSON object with every rate; 'toeboard rates' writes one")
	}
	var bad []error
	for _, f := range RateFields {
		if v, ok := given[f.Key]; !ok || bytes.Equal(v, []byte("null")) {
			bad = append(bad, fault.Bad(f.Key, "", "missing: it must be given ("+f.For+")"))
		}
	}
	var r Rates
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	err := d.Decode(&r)
	var wrong *json.UnmarshalTypeError
	switch {
	case errors.As(err, &wrong):
		bad = append(bad, fault.Bad(wrong.Field, wrong.Value, "a number; money in whole pence"))
	case err != nil:
		bad = append(bad, fault.Bad("rates", strings.TrimPrefix(err.Error(), "json: "), "only the rates that 'toeboard rates' writes"))
	}
	if _, err := d.Token(); err == nil || !errors.Is(err, io.EOF) {
		bad = append(bad, fault.Bad("rates", "", "one JSON object and nothing after it"))
	}
	if len(bad) > 0 {
		return Rates{}, errors.Join(bad...)
	}
	return r, r.Check()
}

// RatesJSON writes rates as ParseRates takes them.
func RatesJSON(r Rates) []byte {
	text, err := json.MarshalIndent(r, "", "  ")
	if err != nil { // only a road factor that is no number
		text = []byte("{}")
	}
	return append(text, '\n')
}

// ratesFromStore reads rates as they were stored: a rate that is newer than the
// row has its start value.
func ratesFromStore(text []byte) (Rates, error) {
	r := DefaultRates()
	if err := json.Unmarshal(text, &r); err != nil {
		return r, fmt.Errorf("read the firm's rates: %w", err)
	}
	return r, nil
}
