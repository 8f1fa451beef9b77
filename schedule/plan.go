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
	Job    uuid.UUID `json:"job"`            // uuid.Nil when it belongs to none
	Stage  StageKind `json:"stage,omitzero"` // of Moved: the visit that moves; StageUnknown in plans made before it was kept
	Crew   uuid.UUID `json:"crew"`           // uuid.Nil when it belongs to none
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
