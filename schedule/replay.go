package schedule

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/civil"
)

// Replayed is what a plan comes to over a number of possible futures, by the
// repair rule of MODEL.md section 7.
type Replayed struct {
	Futures int         `json:"futures"`
	From    civil.Date  `json:"from"`  // first day replayed
	Until   civil.Date  `json:"until"` // last day replayed, past the plan's last
	Jobs    []JobReplay `json:"jobs"`  // open jobs, by reference

	Promises  int        `json:"promises"`         // of jobs to be commissioned, of which it can be said whether they are kept
	Kept      float64    `json:"promises_kept"`    // of those, the mean over the futures
	CannotSay int        `json:"promises_unknown"` // promises of which nobody can say, beside those
	Lost      float64    `json:"lost_half_days"`   // that weather takes from crews and gangs, the mean
	Cost      Spread     `json:"cost"`             // of the plan as it is replayed
	Kind      []CostItem `json:"replayed_items"`   // items of the plan's cost that were replayed; the others are the plan's own
}

// Spread is an amount over the futures. It is not known when the weather of a
// half-day that any future needs is not.
type Spread struct {
	Known bool  `json:"known"`
	Mean  Pence `json:"mean_pence"`
	P10   Pence `json:"p10_pence"`
	P90   Pence `json:"p90_pence"`
}

// Finish says whether anything can be said of a job's finish.
type Finish string

// What can be said. The zero value is no answer.
const (
	FinishSpread  Finish = "spread"   // percentiles are given
	FinishNoPlace Finish = "no place" // the plan has no place for its commissioning, or for what that waits for
	FinishUnknown Finish = "unknown"  // nobody can say: weather that it needs is not known
	FinishDone    Finish = "done"     // nothing is left that would finish it: commissioning is done, or no stage of it
)

// JobReplay is one job over the futures.
type JobReplay struct {
	Job      uuid.UUID  `json:"job"`
	Finish   Finish     `json:"finish"`
	Why      string     `json:"why"`      // why no percentiles are given, one sentence
	Planned  civil.Date `json:"planned"`  // commissioning's last day in the plan; empty = none
	Promised civil.Date `json:"promised"` // empty = no promise
	// Days by which commissioning is over in 10, 50 and 90 of 100 futures (nearest
	// rank); empty = later than Replayed.Until.
	P10 civil.Date `json:"p10"`
	P50 civil.Date `json:"p50"`
	P90 civil.Date `json:"p90"`

	Kept   int            `json:"kept"`           // futures in which the promise is met
	Chance weather.Chance `json:"chance"`         // that the promise is met, (Kept+1)/(Futures+2)
	Hire   Pence          `json:"hire_pence"`     // past the included weeks, the mean
	Lost   float64        `json:"lost_half_days"` // that weather takes from it, the mean
}

// replayedItems are the lines of Price that a replay works out anew. The rest
// does not hang on the weather, or not by the repair rule.
var replayedItems = []CostItem{Lateness, ScaffoldHire, ScaffoldIdle, WeatherRisk, IdleCrew, Travel, Overtime}

// Replay carries a plan out in each of the futures, half-day by half-day, and
// says what it comes to. It reads the snapshot's facts as they are: what is done
// is done, what has begun goes on, and a visit whose day has passed is due.
//
// Nothing is planned anew: what the weather stops goes on as soon as it may, and
// what waits for it moves by as much as it must. In a future in which all
// weather passes, every visit is where the plan has it.
func Replay(s Snapshot, p Plan, f Futures) Replayed {
	return newReplay(&s, &p, &f).all()
}

// op is one visit of the plan as it is replayed.
type op struct {
	work    int32 // index of the job
	visit   int32 // index in the plan
	kind    StageKind
	who     int32 // index of the crew or scaffold firm
	left    int32 // half-days to work
	first   int32 // slot from which it is due: as planned, and not before its gates
	row     int32 // of the futures, -1 = indoors, -2 = outdoors and nothing is known
	waits   [2]int32
	late    bool // planned with Saturdays
	takes   bool // an erection that takes a set
	started bool
}

const (
	indoors = -1
	noRow   = -2
	none    = -1 // no visit
)

// replay is a plan made ready: what does not change from future to future.
type replay struct {
	*prices
	plan    *Plan
	futures *Futures
	slots   int32 // half-days replayed
	span    int32 // days replayed
	ops     []op
	dead    []string            // by visit: why it can never be done, "" = it can
	index   [][stageCount]int32 // by job and stage
	crewOps [][]int32           // by crew, in planned order
	firmOps [][]int32           // by scaffold firm, in planned order
	open    [][]bool            // by crew and day
	extra   [][]bool            // by crew and day: it can work overtime
	working []bool              // by day
	gangs   [][]int32           // by scaffold firm and day: erections and strikes that it can do
	sets    [][]int32           // by scaffold firm and day: scaffolds that may stand
	stands  []int32             // by scaffold firm: standing before the first day
	fixed   Pence               // of the plan's cost, what is not replayed
	idleOf  [][]Pence           // by crew and day
	lateOf  []Pence             // by job and day, none until asked for
	trips   []Pence             // by place and place, none until asked for
	places  []weather.Point     // homes of crews, then sites of jobs
	told    func(op int32, slot int32)
}

const notAsked Pence = -1

func newReplay(s *Snapshot, p *Plan, f *Futures) *replay {
	r := &replay{prices: newPrices(newFacts(s)), plan: p, futures: f}
	until := max(f.until(), s.lastDay())
	r.span = int32(until-s.FirstDay) + 1
	r.slots = 2 * r.span
	r.readOps()
	r.readWaits()
	r.readCrews()
	r.readFirms()
	r.readCosts()
	return r
}

func (r *replay) slot(h civil.HalfDay) int32 { return int32(h - r.s.FirstDay.In(civil.Morning)) }
func (r *replay) half(slot int32) civil.HalfDay {
	return r.s.FirstDay.In(civil.Morning) + civil.HalfDay(slot)
}
func (r *replay) date(slot int32) civil.Date { return r.s.FirstDay + civil.Date(slot/2) }

// readOps takes the plan's visits of stages that are still open.
func (r *replay) readOps() {
	at := make(map[uuid.UUID]int, len(r.work))
	r.index = make([][stageCount]int32, len(r.work))
	for i := range r.work {
		at[r.work[i].job.ID] = i
		for k := range r.index[i] {
			r.index[i][k] = none
		}
	}
	rows := make(map[outlookKey]int32, len(r.futures.Rows))
	for i := range r.futures.Rows {
		rows[outlookKey{r.futures.Rows[i].Site, r.futures.Rows[i].Task, r.futures.Rows[i].By}] = int32(i)
	}
	for i := range r.plan.Visits {
		v := &r.plan.Visits[i]
		j, known := at[v.Job]
		if !known || len(v.HalfDays) == 0 || v.Stage <= 0 || int(v.Stage) >= stageCount || !r.work[j].open(v.Stage) || r.index[j][v.Stage] != none {
			continue
		}
		o, ok := r.op(j, i, rows)
		if !ok {
			continue // of a crew or firm that is no more: it has no place
		}
		r.index[j][v.Stage] = int32(len(r.ops))
		r.ops = append(r.ops, o)
		r.dead = append(r.dead, r.work[j].blocked[v.Stage].why)
	}
}

func (r *replay) op(j, visit int, rows map[outlookKey]int32) (op, bool) {
	w, v := &r.work[j], &r.plan.Visits[visit]
	o := op{work: int32(j), visit: int32(visit), kind: v.Stage, left: int32(w.left(v.Stage, r.s.FirstDay)), row: indoors, waits: [2]int32{none, none}, started: !w.planned(v.Stage),
		first: max(0, r.slot(v.First()))}
	if !o.started {
		o.first = max(o.first, r.slot(w.release[v.Stage].on.In(civil.Morning)))
	}
	who := r.crew(v.Crew)
	if v.Stage.Trade() == ScaffoldTrade {
		who = r.firm(v.ScaffoldFirm)
	}
	if v.Stage.Task() != weather.Indoors {
		o.row = noRow
		by := uuid.Nil // whose own gust limit the weather keeps
		if v.Stage.Trade() == ScaffoldTrade && who >= 0 && r.firms[who].GustLimit > 0 {
			by = r.firms[who].ID
		}
		if row, ok := rows[outlookKey{w.job.Site.ID, v.Stage.Task(), by}]; ok {
			o.row = row
		}
	}
	for _, h := range v.HalfDays {
		o.late = o.late || r.saturday(h.Date())
	}
	o.takes = v.Stage == ScaffoldErection && !w.standing
	o.who = int32(who)
	return o, who >= 0
}

// readWaits says what each visit waits for. What waits for a stage that is open
// and has no visit can never be done, and so on down the chain.
func (r *replay) readWaits() {
	for i := range r.work {
		w := &r.work[i]
		for _, k := range StageKinds { // each stands behind those it waits for
			a := r.index[i][k]
			if a < 0 || r.ops[a].started {
				continue
			}
			n := 0
			for _, before := range w.before(k) {
				if !w.open(before) {
					continue
				}
				b := r.index[i][before]
				switch {
				case b < 0 && r.dead[a] == "":
					r.dead[a] = fmt.Sprintf("Waits for %s, which has no place in the plan.", before)
				case b >= 0 && r.dead[b] != "" && r.dead[a] == "":
					r.dead[a] = fmt.Sprintf("Waits for %s: %s", before, r.dead[b])
				case b >= 0:
					r.ops[a].waits[n] = b
					n++
				}
			}
		}
	}
}

// inOrder sorts visits as planned: by first half-day, then job, then stage.
func (r *replay) inOrder(list []int32) {
	slices.SortFunc(list, func(a, b int32) int {
		x, y := &r.ops[a], &r.ops[b]
		return cmp.Or(cmp.Compare(x.first, y.first), cmp.Compare(x.work, y.work), cmp.Compare(x.kind, y.kind))
	})
}

func (r *replay) readCrews() {
	r.crewOps = make([][]int32, len(r.crews))
	for a := range r.ops {
		if o := &r.ops[a]; o.kind.Trade() != ScaffoldTrade && r.dead[a] == "" {
			r.crewOps[o.who] = append(r.crewOps[o.who], int32(a))
		}
	}
	r.working = make([]bool, r.span)
	for d := range r.working {
		r.working[d] = r.days.is(r.s.FirstDay + civil.Date(d))
	}
	for i, c := range r.crews {
		r.inOrder(r.crewOps[i])
		open, extra, idle := make([]bool, r.span), make([]bool, r.span), make([]Pence, r.span)
		for d := range open {
			on := r.s.FirstDay + civil.Date(d)
			open[d] = r.works(c, on)
			extra[d] = !open[d] && r.worksLate(c, on)
			idle[d] = r.idle(c, on)
		}
		r.open, r.extra, r.idleOf = append(r.open, open), append(r.extra, extra), append(r.idleOf, idle)
	}
}

// readFirms works out the gangs and sets of each day: those of the firm less
// what bookings of jobs outside the plan take. A day on which the plan itself
// has more, which is no fault where facts alone make it so, has as many.
func (r *replay) readFirms() {
	r.firmOps = make([][]int32, len(r.firms))
	r.stands = make([]int32, len(r.firms))
	for a := range r.ops {
		if o := &r.ops[a]; o.kind.Trade() == ScaffoldTrade && r.dead[a] == "" {
			r.firmOps[o.who] = append(r.firmOps[o.who], int32(a))
		}
	}
	for i, f := range r.firms {
		r.inOrder(r.firmOps[i])
		gangs, sets := make([]int32, r.span), make([]int32, r.span)
		for d := range gangs {
			gangs[d], sets[d] = int32(f.GangsPerDay), int32(f.Sets)
		}
		r.gangs, r.sets = append(r.gangs, gangs), append(r.sets, sets)
	}
	for _, b := range r.others {
		if i := r.firm(b.ScaffoldFirm); i >= 0 {
			r.takenByOther(i, b)
		}
	}
	touching, standing := r.asPlanned()
	for i := range r.firms {
		for d := range r.gangs[i] {
			r.gangs[i][d] = max(r.gangs[i][d], touching[i][d])
			r.sets[i][d] = max(r.sets[i][d], standing[i][d])
		}
	}
	for i := range r.work {
		if w := &r.work[i]; w.standing && w.owner >= 0 {
			r.stands[w.owner]++
		}
	}
}

func (r *replay) takenByOther(firm int, b Booking) {
	take := func(of []int32, from, to civil.Date) {
		for d := max(from, r.s.FirstDay); d <= min(to, r.s.FirstDay+civil.Date(r.span)-1); d++ {
			of[d-r.s.FirstDay]--
		}
	}
	if b.State != BookingErected {
		take(r.gangs[firm], b.ErectOn, b.ErectOn)
	}
	if b.StrikeOn != b.ErectOn || b.State == BookingErected {
		take(r.gangs[firm], b.StrikeOn, b.StrikeOn)
	}
	take(r.sets[firm], b.ErectOn, max(b.StrikeOn, r.s.FirstDay))
}

// asPlanned counts by scaffold firm and day the visits that touch it and the
// scaffolds that stand, as the plan has them.
func (r *replay) asPlanned() (touching, standing [][]int32) {
	for range r.firms {
		touching, standing = append(touching, make([]int32, r.span)), append(standing, make([]int32, r.span))
	}
	type pair struct{ erect, strike *Visit }
	pairs := make([]pair, len(r.work))
	at := make(map[uuid.UUID]int, len(r.work))
	for i := range r.work {
		at[r.work[i].job.ID] = i
	}
	for i := range r.plan.Visits {
		v := &r.plan.Visits[i]
		j, known := at[v.Job]
		if !known || v.Stage.Trade() != ScaffoldTrade || r.index[j][v.Stage] == none {
			continue
		}
		f, last := r.firm(v.ScaffoldFirm), civil.NoDate
		for _, h := range v.HalfDays {
			if d := h.Date(); d != last && d >= r.s.FirstDay && d < r.s.FirstDay+civil.Date(r.span) {
				touching[f][d-r.s.FirstDay]++
				last = d
			}
		}
		if v.Stage == ScaffoldErection {
			pairs[j].erect = v
		} else {
			pairs[j].strike = v
		}
	}
	for i := range r.work {
		w := &r.work[i]
		f, from, to := w.owner, r.s.FirstDay, r.s.FirstDay+civil.Date(r.span)-1
		if !w.standing {
			if pairs[i].erect == nil {
				continue
			}
			f, from = r.firm(pairs[i].erect.ScaffoldFirm), max(from, pairs[i].erect.First().Date())
		}
		if pairs[i].strike != nil {
			to = min(to, pairs[i].strike.Last().Date())
		}
		for d := from; f >= 0 && d <= to; d++ {
			standing[f][d-r.s.FirstDay]++
		}
	}
	return touching, standing
}

// readCosts takes from the plan's own cost what is not replayed.
func (r *replay) readCosts() {
	for _, l := range Price(*r.s, *r.plan).Lines {
		if !slices.Contains(replayedItems, l.Item) {
			r.fixed += l.Amount
		}
	}
	r.lateOf = make([]Pence, len(r.work)*int(r.span))
	for i := range r.lateOf {
		r.lateOf[i] = notAsked
	}
	for _, c := range r.crews {
		r.places = append(r.places, weather.Point{Lat: c.HomeLat, Lon: c.HomeLon})
	}
	for i := range r.work {
		r.places = append(r.places, siteOf(r.work[i].job))
	}
	r.trips = make([]Pence, len(r.places)*len(r.places))
	for i := range r.trips {
		r.trips[i] = notAsked
	}
}

// lateness is the price of commissioning that ends on a day.
func (r *replay) lateness(work, day int32) Pence {
	at := &r.lateOf[work*r.span+day]
	if *at == notAsked {
		*at = r.late(r.work[work].job, r.s.FirstDay+civil.Date(day))
	}
	return *at
}

// leg is the price of a trip between two places.
func (r *replay) leg(from, to int32) Pence {
	if from == to {
		return 0
	}
	at := &r.trips[int(from)*len(r.places)+int(to)]
	if *at == notAsked {
		*at = 0
		if r.places[from] != r.places[to] {
			*at = r.trip(r.places[from], r.places[to])
		}
	}
	return *at
}
