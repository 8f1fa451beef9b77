package schedule

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"hash"
	"math"
	"slices"
	"strings"

	"github.com/google/uuid"
)

// HashOf sums up the facts that a plan rests on, whatever their order. Two
// snapshots of the same facts have the same hash, an hour apart or with other
// names, addresses and notes in them.
//
// Of the time it takes only the day. It leaves out what planning itself writes:
// the published plan, which a plan names beside its hash, and the days for which
// scaffolds of open jobs are booked, which publishing moves; a scaffold that
// stands is a fact and counts.
func (s Snapshot) HashOf() [32]byte {
	h := &factHash{Hash: sha256.New()}
	h.text("toeboard snapshot 1", s.Firm.TimeZone)
	h.ints(int64(s.today()), int64(s.FirstDay), int64(s.Days), int64(s.Frozen))
	r := s.Firm.Rates
	h.ints(int64(r.LatePerDay), int64(r.IdleShare), int64(r.TravelPerKm), int64(r.LostRoofHalfDay), int64(r.LostScaffoldVisit),
		int64(r.MovedVisit), int64(r.MovedSoon), int64(r.MovedBooking), int64(r.UnplannedStage),
		int64(r.LateTold), int64(r.LateGrowth), int64(r.MovedConfirmed), int64(r.IdleScaffoldDay), int64(r.Handover), int64(r.OvertimePercent), int64(r.LeastChance))
	h.floats(r.RoadFactor)
	h.holidays(s)
	h.crews(s.Crews)
	h.scaffoldFirms(s.ScaffoldFirms)
	h.jobs(s.Jobs)
	h.scaffolds(s)
	h.outlooks(s.Outlooks)
	if len(s.Offers) > 0 {
		h.offers(s)
	}
	h.travel(s.usefulLegs())
	h.pins(s.Pins)
	if len(s.Refused) > 0 {
		h.refused(s.Refused)
	}
	return [32]byte(h.Sum(nil))
}

// factHash writes values so that no two lists of them look alike: every number
// has its width, every text and list its length.
type factHash struct {
	hash.Hash
	buf [8]byte
}

func (h *factHash) ints(ns ...int64) {
	for _, n := range ns {
		binary.BigEndian.PutUint64(h.buf[:], uint64(n))
		h.Write(h.buf[:])
	}
}

func (h *factHash) floats(xs ...float64) {
	for _, x := range xs {
		h.ints(int64(math.Float64bits(x)))
	}
}

func (h *factHash) flag(b bool) {
	n := int64(0)
	if b {
		n = 1
	}
	h.ints(n)
}

func (h *factHash) text(texts ...string) {
	for _, t := range texts {
		h.ints(int64(len(t)))
		h.Write([]byte(t))
	}
}

func (h *factHash) id(ids ...uuid.UUID) {
	for _, id := range ids {
		h.Write(id[:])
	}
}

// sorted gives a sorted copy and writes its length.
func sorted[T any](h *factHash, list []T, by func(a, b T) int) []T {
	list = slices.Clone(list)
	slices.SortFunc(list, by)
	h.ints(int64(len(list)))
	return list
}

func (h *factHash) holidays(s Snapshot) {
	days := sorted(h, s.Holidays, func(a, b Holiday) int { return cmp.Compare(a.Day, b.Day) })
	for _, d := range days {
		h.ints(int64(d.Day))
	}
}

func (h *factHash) crews(crews []Crew) {
	for _, c := range sorted(h, crews, func(a, b Crew) int { return compareIDs(a.ID, b.ID) }) {
		h.id(c.ID)
		h.text(c.Name) // of crews that differ in nothing else the first by name is weighed first
		h.ints(int64(c.Trade), int64(c.HalfDayCost))
		h.floats(c.HomeLat, c.HomeLon)
		h.flag(c.Active)
		for _, m := range sorted(h, c.Members, func(a, b Membership) int {
			return cmp.Or(compareIDs(a.Person.ID, b.Person.ID), cmp.Compare(a.From, b.From))
		}) {
			h.id(m.Person.ID)
			h.flag(m.Person.Active)
			h.flag(m.Lead)
			h.ints(int64(m.From), int64(m.Until))
			for _, a := range sorted(h, m.Absences, func(a, b Absence) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.Until, b.Until)) }) {
				h.ints(int64(a.From), int64(a.Until))
			}
			for _, k := range sorted(h, m.Skills, func(a, b Skill) int {
				return cmp.Or(strings.Compare(a.Kind, b.Kind), cmp.Compare(a.From, b.From), cmp.Compare(a.Until, b.Until))
			}) {
				h.text(k.Kind)
				h.ints(int64(k.From), int64(k.Until))
			}
		}
	}
}

func (h *factHash) scaffoldFirms(firms []ScaffoldFirm) {
	for _, f := range sorted(h, firms, func(a, b ScaffoldFirm) int { return compareIDs(a.ID, b.ID) }) {
		h.id(f.ID)
		h.text(f.Name)
		h.ints(int64(f.GangsPerDay), int64(f.Sets), int64(f.ErectNotice), int64(f.StrikeNotice), int64(f.VisitPrice), int64(f.IncludedWeeks), int64(f.WeeklyHire))
		h.flag(f.Active)
		if f.DaysOff != 0 {
			h.text("days off")
			h.ints(int64(f.DaysOff))
		}
		if f.ReachKm != 0 {
			h.text("area")
			h.floats(f.YardLat, f.YardLon)
			h.ints(int64(f.ReachKm))
		}
		if f.CancelNotice != 0 || f.CancelCharge != 0 {
			h.text("cancelling")
			h.ints(int64(f.CancelNotice), int64(f.CancelCharge))
		}
		if f.GustLimit != 0 {
			h.text("gust limit")
			h.floats(f.GustLimit)
		}
	}
}

func (h *factHash) jobs(jobs []Job) {
	for _, j := range sorted(h, jobs, func(a, b Job) int { return compareIDs(a.ID, b.ID) }) {
		h.id(j.ID, j.Site.ID)
		h.text(j.Ref, string(j.State))
		h.floats(j.Site.Lat, j.Site.Lon)
		h.ints(int64(j.ReadyOn), int64(j.PromisedOn))
		h.flag(j.PromiseTold)
		for _, c := range sorted(h, j.Confirmed, func(a, b Confirmation) int { return cmp.Compare(a.Stage, b.Stage) }) {
			h.ints(int64(c.Stage), int64(c.On))
		}
		for _, st := range sorted(h, j.Stages, func(a, b Stage) int { return cmp.Compare(a.Kind, b.Kind) }) {
			h.ints(int64(st.Kind), int64(st.HalfDays), int64(st.State), int64(st.StartedOn), int64(st.DoneOn))
		}
		for _, c := range sorted(h, j.Consents, func(a, b Consent) int { return strings.Compare(string(a.Kind), string(b.Kind)) }) {
			h.text(string(c.Kind), string(c.State))
			h.ints(int64(c.Stage), int64(c.ExpectedOn), int64(c.GrantedOn))
		}
		for _, k := range sorted(h, j.Kit, func(a, b Kit) int { return strings.Compare(a.Item, b.Item) }) {
			h.text(k.Item)
			h.ints(int64(k.DueOn), int64(k.ArrivedOn))
		}
	}
}

// scaffolds takes those that stand, whether a booking says so or the job's
// stages do, and all that jobs outside the plan have booked.
func (h *factHash) scaffolds(s Snapshot) {
	f := newFacts(&s)
	for i := range f.work {
		w := &f.work[i]
		h.flag(w.standing)
		if !w.standing {
			continue
		}
		h.id(w.job.ID)
		h.ints(int64(w.since))
		if w.owner >= 0 {
			h.id(f.firms[w.owner].ID)
		}
	}
	for _, b := range sorted(h, f.others, func(a, b Booking) int { return cmp.Or(compareIDs(a.Job, b.Job), strings.Compare(a.UID, b.UID)) }) {
		h.id(b.Job, b.ScaffoldFirm)
		h.text(string(b.State))
		h.ints(int64(b.ErectOn), int64(b.StrikeOn))
	}
}

// bookedAsPublished tells whether every scaffold of an open job is booked just
// as the published plan has it.
func (f *facts) bookedAsPublished() bool {
	for i := range f.work {
		w := &f.work[i]
		b, erect, strike := w.booking, w.base[ScaffoldErection], w.base[ScaffoldStrike]
		if b == nil {
			continue
		}
		if b.State.noDay() || w.rebooked ||
			erect != nil && (erect.ScaffoldFirm != b.ScaffoldFirm || erect.First().Date() != b.ErectOn) ||
			strike != nil && (strike.ScaffoldFirm != b.ScaffoldFirm || strike.Last().Date() != b.StrikeOn) {
			return false
		}
	}
	return true
}

func (h *factHash) outlooks(outlooks []Outlook) {
	for _, o := range sorted(h, outlooks, func(a, b Outlook) int {
		return cmp.Or(compareIDs(a.Site, b.Site), cmp.Compare(a.Task, b.Task), compareIDs(a.By, b.By), cmp.Compare(a.First, b.First))
	}) {
		h.id(o.Site)
		if o.By != uuid.Nil {
			h.text("by")
			h.id(o.By)
		}
		h.ints(int64(o.Task), int64(o.First), int64(len(o.Chances)))
		for _, c := range o.Chances {
			h.flag(c.Known)
			h.floats(c.P)
		}
	}
}

func (h *factHash) travel(legs []Leg) {
	for _, l := range sorted(h, legs, func(a, b Leg) int {
		return cmp.Or(strings.Compare(a.From, b.From), strings.Compare(a.To, b.To), cmp.Compare(a.Km, b.Km))
	}) {
		h.text(l.From, l.To)
		h.floats(l.Km)
	}
}

func (h *factHash) refused(days []RefusedDay) {
	h.text("refused days")
	for _, r := range sorted(h, days, compareRefused) {
		h.id(r.Job, r.ScaffoldFirm)
		h.ints(int64(r.On))
	}
}

// pins takes what is fixed, not who fixed it or why.
func (h *factHash) pins(pins []Pin) {
	for _, p := range sorted(h, pins, func(a, b Pin) int {
		return cmp.Or(compareIDs(a.Job, b.Job), cmp.Compare(a.Stage, b.Stage), strings.Compare(string(a.Kind), string(b.Kind)), compareIDs(a.Who, b.Who), cmp.Compare(a.On, b.On), cmp.Compare(a.Half, b.Half))
	}) {
		h.id(p.Job, p.Who)
		h.text(string(p.Kind))
		h.ints(int64(p.Stage), int64(p.On), int64(p.Half))
	}
}
