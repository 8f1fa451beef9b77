package api

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// OfferAsk is what somebody on the telephone asks for: where the roof is, and
// how long each stage takes. Nothing of it is saved.
type OfferAsk struct {
	Postcode string
	Lat, Lon float64 // NaN = not given: the postcode of a site we know stands in
	Terrain  string
	HeightM  float64
	ModuleM2 float64 // of one module
	Modules  int
	HalfDays map[schedule.StageKind]int // 0 = the job has no such stage
	ReadyOn  civil.Date
	Best     int // how many places
}

// Offered is the answer: places, or what stands in the way.
type Offered struct {
	directory
	Job    schedule.Job
	Place  string // where the position comes from, in words
	Sky    string // where the chances come from, in words
	Offers []schedule.Offer
	No     []schedule.Reason
}

// FindOffers gives the best places for a new job beside the published plan.
func (s *Service) FindOffers(ctx context.Context, firm uuid.UUID, a OfferAsk) (Offered, error) {
	var out Offered
	snap, err := s.Snapshot(ctx, firm, planDays)
	if err != nil {
		return out, err
	}
	if out.Job, out.Place, err = a.job(snap); err != nil {
		return out, err
	}
	if out.directory, err = s.directory(ctx, firm); err != nil {
		return out, err
	}
	looks, sky, err := s.outlooksFor(ctx, firm, snap, out.Job)
	if err != nil {
		return out, err
	}
	out.Sky = sky
	snap.Outlooks = append(snap.Outlooks, looks...)
	out.Offers, out.No, err = schedule.Offers(snap, out.Job, a.Best)
	return out, err
}

// job makes the job that is asked for. Its identifiers are made from what is
// asked, so that the same question has the same answer.
func (a OfferAsk) job(snap schedule.Snapshot) (schedule.Job, string, error) {
	lat, lon, from, err := a.position(snap)
	if err != nil {
		return schedule.Job{}, "", err
	}
	name := []byte(fmt.Sprintf("%s %.5f %.5f %s %v %v", a.Postcode, lat, lon, a.Terrain, a.HeightM, a.HalfDays))
	j := schedule.Job{
		ID: uuid.NewSHA1(snap.Firm.ID, name), Ref: "new job", State: schedule.JobOpen,
		Customer: schedule.Customer{ID: uuid.NewSHA1(snap.Firm.ID, append([]byte("customer "), name...)), Name: "a customer"},
		Site: schedule.Site{ID: uuid.NewSHA1(snap.Firm.ID, append([]byte("site "), name...)), Address: a.Postcode, Postcode: a.Postcode,
			Lat: lat, Lon: lon, Terrain: a.Terrain, WorkingHeightM: a.HeightM, Facts: map[string]any{}},
		Modules: a.Modules, ModuleWatts: 430, ModuleKg: 21.5, ModuleM2: a.ModuleM2, ReadyOn: a.ReadyOn, PromisedOn: civil.NoDate,
	}
	for _, k := range schedule.StageKinds {
		if n := a.HalfDays[k]; n > 0 {
			j.Stages = append(j.Stages, schedule.Stage{Kind: k, HalfDays: n, StartedOn: civil.NoDate, DoneOn: civil.NoDate})
		}
	}
	if j.Site.Address == "" {
		j.Site.Address = fmt.Sprintf("%.4f, %.4f", lat, lon)
	}
	check := j
	check.Ref, check.CreatedAt = "new", snap.Now
	return j, from, check.Check()
}

// position gives where the roof is: as typed, or where sites with the same
// postcode are, or with the same first half of it.
func (a OfferAsk) position(snap schedule.Snapshot) (lat, lon float64, from string, err error) {
	if !math.IsNaN(a.Lat) && !math.IsNaN(a.Lon) {
		return a.Lat, a.Lon, "as it was typed", nil
	}
	norm := func(s string) string { return strings.ToUpper(strings.Join(strings.Fields(s), " ")) }
	want := norm(a.Postcode)
	outward, _, _ := strings.Cut(want, " ")
	for _, like := range []struct {
		same  func(string) bool
		words string
	}{
		{func(p string) bool { return want != "" && norm(p) == want }, "with the same postcode"},
		{func(p string) bool { o, _, _ := strings.Cut(norm(p), " "); return outward != "" && o == outward }, "in " + outward},
	} {
		n := 0
		lat, lon = 0, 0
		for _, j := range snap.Jobs {
			if like.same(j.Site.Postcode) {
				lat, lon, n = lat+j.Site.Lat, lon+j.Site.Lon, n+1
			}
		}
		if n > 0 {
			return lat / float64(n), lon / float64(n), fmt.Sprintf("in the middle of %s %s", counted(n, "open job's site", "open jobs' sites"), like.words), nil
		}
	}
	return 0, 0, "", fault.Bad("postcode", a.Postcode, "the postcode, or its first half, of a site of an open job; else type latitude and longitude")
}

// farSkyKm is how far off a site may be whose forecast stands in for a roof
// that has none (start value, common practice, no source: the grid of an
// ensemble forecast is about 25 km wide).
const farSkyKm = 25

// outlooksFor gives the chances for a roof that has no forecast of its own: those
// that the forecast of the nearest site gives at the roof's own place, height and
// terrain. Past the forecast, and where no site is near, the climate speaks as
// for all.
func (s *Service) outlooksFor(ctx context.Context, firm uuid.UUID, snap schedule.Snapshot, j schedule.Job) ([]schedule.Outlook, string, error) {
	forecast, err := s.newestForecasts(ctx, firm)
	if err != nil {
		return nil, "", err
	}
	here := weather.Point{Lat: j.Site.Lat, Lon: j.Site.Lon}
	near, km := schedule.Job{}, math.Inf(1)
	for _, other := range snap.Jobs {
		away := weather.Point{Lat: other.Site.Lat, Lon: other.Site.Lon}.KmTo(here)
		if away < km && away <= farSkyKm && len(forecast(other.Site.ID).Members) > 0 {
			near, km = other, away
		}
	}
	sky := fmt.Sprintf("There is no forecast for a site within %d km: the coming days are not known, and no outdoor work is offered on them.", farSkyKm)
	stand := j
	if near.Ref != "" {
		sky = fmt.Sprintf("Chances are from the forecast for %s, %.0f km away, at this roof's own height and terrain.", near.Ref, km)
		stand.Site.ID = near.Site.ID
	}
	snap.Jobs = []schedule.Job{stand}
	looks, err := s.Outlooks(ctx, firm, snap)
	for i := range looks {
		looks[i].Site = j.Site.ID
	}
	return looks, sky, err
}

// HoldAsk is a place that is told to a customer.
type HoldAsk struct {
	ID       uuid.UUID
	For      string
	Contact  string
	Days     int // working days for which it is held; 0 = as usual
	Question OfferAsk
	On       civil.Date // the day of the offer that was told
}

// HoldOffer keeps the place of one offer free for a customer. The place is found
// again from the same question; when it is gone by then, or goes at that moment
// to somebody else, it is a conflict.
func (s *Service) HoldOffer(ctx context.Context, firm uuid.UUID, a HoldAsk, by string) (schedule.HeldOffer, error) {
	if known, err := s.schedule.HeldOffer(ctx, firm, a.ID); err == nil {
		return known, nil // a retry whose first answer was lost
	} else if fault.KindOf(err) != fault.NotFound {
		return known, err
	}
	a.Question.Best = 50
	found, err := s.FindOffers(ctx, firm, a.Question)
	if err != nil {
		return schedule.HeldOffer{}, err
	}
	i := slices.IndexFunc(found.Offers, func(o schedule.Offer) bool { return o.On == a.On })
	if i < 0 {
		return schedule.HeldOffer{}, fault.Changed("offer", a.On.String(), "this place is not free any more: look again at what is free")
	}
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return schedule.HeldOffer{}, err
	}
	h := schedule.HeldOffer{ID: a.ID, For: strings.TrimSpace(a.For), Contact: strings.TrimSpace(a.Contact), Job: found.Job,
		Visits: found.Offers[i].Visits, More: found.Offers[i].More, ToldBy: by}
	h.Job.ID, h.Job.Site.ID = a.ID, uuid.NewSHA1(a.ID, []byte("site")) // the next who asks the same has another roof
	for n := range h.Visits {
		h.Visits[n].Job = a.ID
	}
	if h.Until, err = s.heldUntil(ctx, firm, f, a.Days); err != nil {
		return h, err
	}
	first, err := firstPlannable(f, s.now())
	if err != nil {
		return h, err
	}
	return s.schedule.HoldOffer(ctx, firm, h, s.now(), first, planDays, func(snap schedule.Snapshot) error {
		if no := schedule.StillFree(snap, h.Visits); len(no) > 0 {
			return fault.Changed("offer", a.On.String(), "this place went a moment ago: "+no[0].Say()+"; look again at what is free")
		}
		return nil
	})
}

// heldUntil is the end of work on the last day for which an offer is held.
func (s *Service) heldUntil(ctx context.Context, firm uuid.UUID, f schedule.Firm, days int) (time.Time, error) {
	if days == 0 {
		days = schedule.HeldDays
	}
	if days < 1 || days > 20 {
		return time.Time{}, fault.Bad("days", fmt.Sprint(days), "1 to 20 working days")
	}
	loc, err := f.Location()
	if err != nil {
		return time.Time{}, fmt.Errorf("read the firm's zone: %w", err)
	}
	holidays, err := s.schedule.Holidays(ctx, firm)
	if err != nil {
		return time.Time{}, err
	}
	last := schedule.AddWorkingDays(civil.DateOf(s.now(), loc), days, holidays)
	_, end := f.Hours.Window(last.In(civil.Afternoon), loc)
	return end, nil
}

// HeldOffers gives what is held, and what was taken and waits for a plan.
func (s *Service) HeldOffers(ctx context.Context, firm uuid.UUID) ([]schedule.HeldOffer, error) {
	return s.schedule.HeldOffers(ctx, firm, s.now())
}

// ReleaseOffer gives a held place free.
func (s *Service) ReleaseOffer(ctx context.Context, firm, id uuid.UUID, by string) (schedule.HeldOffer, error) {
	return s.schedule.ReleaseOffer(ctx, firm, id, by, s.now())
}

// TakeOffer makes a job of a held offer under a new reference.
func (s *Service) TakeOffer(ctx context.Context, firm, id uuid.UUID, ref, by string) (schedule.HeldOffer, schedule.Job, error) {
	return s.schedule.TakeOffer(ctx, firm, id, strings.TrimSpace(ref), by, s.now())
}
