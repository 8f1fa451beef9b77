package schedule

import (
	"fmt"
	"time"

	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// Pence is money: hundredths of a pound.
type Pence int64

// String writes £1,234.56.
func (p Pence) String() string {
	sign := ""
	if p < 0 {
		sign, p = "-", -p
	}
	pounds := fmt.Sprint(int64(p / 100))
	for i := len(pounds) - 3; i > 0; i -= 3 {
		pounds = pounds[:i] + "," + pounds[i:]
	}
	return fmt.Sprintf("%s£%s.%02d", sign, pounds, int64(p%100))
}

// Plan is one whole plan. Once saved its content never changes.
type Plan struct {
	ID          uuid.UUID
	Version     int
	State       PlanState
	Base        uuid.UUID // the plan that was published when this was made; uuid.Nil = none
	FirstDay    civil.Date
	Days        int
	Seed        uint64
	Schedules   int      // schedules generated: the search's budget
	Hash        [32]byte // of the snapshot it was made from
	Visits      []Visit  // by job reference, then stage
	Cost        Cost
	Unplanned   []Unplanned
	MadeBy      string
	MadeAt      time.Time
	PublishedBy string
	PublishedAt time.Time
	Replay      *Replayed // what it comes to over the futures known when it was made; nil = it was not replayed
	Choice      *Choice   // what it was chosen from, for an aim; nil = it was not chosen
}

// PlanState is what a plan is.
type PlanState string

// The states of a plan.
const (
	Draft      PlanState = "draft"
	Published  PlanState = "published"
	Superseded PlanState = "superseded"
	Dropped    PlanState = "dropped"
)

// Visit is one stage of one job done by one crew or one scaffold firm in stated
// half-days. Days on which nobody works may lie between them.
type Visit struct {
	Job          uuid.UUID
	Stage        StageKind
	Crew         uuid.UUID       // uuid.Nil for scaffold work
	ScaffoldFirm uuid.UUID       // uuid.Nil for a crew's work
	HalfDays     []civil.HalfDay // ascending, none twice
	Chance       weather.Chance  // that weather lets the whole visit run
	Why          string          // what bound the start, in one sentence
}

// First and Last give the visit's first and last half-day.
func (v Visit) First() civil.HalfDay { return v.HalfDays[0] }

// Last gives the visit's last half-day.
func (v Visit) Last() civil.HalfDay { return v.HalfDays[len(v.HalfDays)-1] }

// Unplanned is a stage that found no place, and why.
type Unplanned struct {
	Job   uuid.UUID
	Stage StageKind
	Why   string
}

// CostItem is what a line of a plan's cost is for.
type CostItem string

// The items of a plan's cost.
const (
	Lateness       CostItem = "lateness"
	ScaffoldHire   CostItem = "scaffold hire"
	ScaffoldVisits CostItem = "scaffold visits"
	IdleCrew       CostItem = "idle crew"
	Travel         CostItem = "travel"
	WeatherRisk    CostItem = "weather risk"
	Moved          CostItem = "moved appointments"
	NotPlanned     CostItem = "not planned"
	ScaffoldIdle   CostItem = "scaffold standing idle"
	Handovers      CostItem = "hand-overs"
	Overtime       CostItem = "overtime"
)

// CostLine is one amount and the sentence that explains it.
type CostLine struct {
	Item   CostItem  `json:"item"`
	Job    uuid.UUID `json:"job"`  // uuid.Nil when it belongs to none
	Crew   uuid.UUID `json:"crew"` // uuid.Nil when it belongs to none
	Amount Pence     `json:"amount_pence"`
	Why    string    `json:"why"`
}

// Cost is a plan's cost, itemised. Total is the sum of the lines.
type Cost struct {
	Total Pence      `json:"total_pence"`
	Lines []CostLine `json:"lines"`
}

// By sums the lines by item.
func (c Cost) By() map[CostItem]Pence {
	sums := map[CostItem]Pence{}
	for _, l := range c.Lines {
		sums[l.Item] += l.Amount
	}
	return sums
}

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
