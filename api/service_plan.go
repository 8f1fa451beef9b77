package api

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// How a plan is made unless somebody says otherwise.
const (
	planDays         = 84   // twelve weeks: longer than most consents take
	DefaultSchedules = 2000 // the search's budget
	defaultSeed      = 1
)

// Snapshot reads everything a plan rests on now, the weather included.
func (s *Service) Snapshot(ctx context.Context, firm uuid.UUID, days int) (schedule.Snapshot, error) {
	snap, _, err := s.look(ctx, firm, days)
	return snap, err
}

// look is Snapshot with what its chances were read from.
func (s *Service) look(ctx context.Context, firm uuid.UUID, days int) (schedule.Snapshot, []siteLook, error) {
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return schedule.Snapshot{}, nil, err
	}
	first, err := firstPlannable(f, s.now())
	if err != nil {
		return schedule.Snapshot{}, nil, err
	}
	return s.lookFrom(ctx, firm, first, days)
}

func (s *Service) snapshotFrom(ctx context.Context, firm uuid.UUID, first civil.Date, days int) (schedule.Snapshot, error) {
	snap, _, err := s.lookFrom(ctx, firm, first, days)
	return snap, err
}

func (s *Service) lookFrom(ctx context.Context, firm uuid.UUID, first civil.Date, days int) (schedule.Snapshot, []siteLook, error) {
	snap, err := s.schedule.Snapshot(ctx, firm, s.now(), first, days)
	if err != nil {
		return schedule.Snapshot{}, nil, err
	}
	list, err := s.looks(ctx, firm, snap)
	snap.Outlooks = outlooksOf(list, snap)
	return snap, list, err
}

// firstPlannable is today until the morning's work begins, then tomorrow.
func firstPlannable(f schedule.Firm, now time.Time) (civil.Date, error) {
	loc, err := f.Location()
	if err != nil {
		return civil.NoDate, fmt.Errorf("read the firm's zone: %w", err)
	}
	today := civil.DateOf(now, loc)
	if start, _ := f.Hours.Window(today.In(civil.Morning), loc); now.Before(start) {
		return today, nil
	}
	return today + 1, nil
}

// Publish puts a draft in the place of the published plan and moves the
// scaffold bookings with it. looked is asked whether the plan that is published
// now is the one that the caller saw; nil = do not ask. agreed are the bookings
// whose change inside their scaffold firm's notice somebody of the office agreed
// to; one that is missing is a conflict that names it. Publishing the plan that
// is already published changes nothing.
func (s *Service) Publish(ctx context.Context, firm, plan uuid.UUID, by string, looked func(now *schedule.Plan) error, agreed ...uuid.UUID) (schedule.Plan, []schedule.BookingChange, error) {
	current, err := s.current(ctx, firm)
	if err != nil {
		return schedule.Plan{}, nil, err
	}
	if current != nil && current.ID == plan {
		return *current, nil, nil
	}
	if looked != nil {
		if err := looked(current); err != nil {
			return schedule.Plan{}, nil, err
		}
	}
	draft, err := s.schedule.Plan(ctx, firm, plan)
	if err != nil {
		return schedule.Plan{}, nil, err
	}
	// The forecasts stand in another store: they are read first, the facts
	// again where the plan is published.
	snap, err := s.snapshotFrom(ctx, firm, draft.FirstDay, draft.Days)
	if err != nil {
		return schedule.Plan{}, nil, err
	}
	refused := func(why string) error {
		if why == "" {
			return nil
		}
		return fault.Changed("plan", fmt.Sprint(draft.Version), why)
	}
	if err := refused(overtaken(draft, current)); err != nil {
		return schedule.Plan{}, nil, err
	}
	return s.schedule.PublishAgreed(ctx, firm, plan, by, snap.Now, func(now schedule.Snapshot, draft schedule.Plan) error {
		now.Outlooks = snap.Outlooks
		why, err := brokenNow(now, draft)
		return cmp.Or(err, refused(why))
	}, func(short []schedule.ShortNotice) error { return allAgreed(short, agreed) })
}

// allAgreed refuses changes inside a scaffold firm's notice that nobody agreed
// to, and names them.
func allAgreed(short []schedule.ShortNotice, agreed []uuid.UUID) error {
	var open []string
	for _, n := range short {
		if !slices.Contains(agreed, n.Booking) {
			open = append(open, n.Why+" (booking "+n.Booking.String()+")")
		}
	}
	if len(open) == 0 {
		return nil
	}
	return fault.Changed("agreed_bookings", "", "somebody of the office has to agree to what changes inside a scaffold firm's notice: "+strings.Join(open, " "))
}

// ShortNotices finds what publishing a draft would change inside a scaffold
// firm's notice.
func (s *Service) ShortNotices(ctx context.Context, firm uuid.UUID, draft schedule.Plan) ([]schedule.ShortNotice, error) {
	snap, err := s.schedule.Snapshot(ctx, firm, s.now(), draft.FirstDay, draft.Days)
	if err != nil {
		return nil, err
	}
	loc, err := snap.Firm.Location()
	if err != nil {
		return nil, fmt.Errorf("read the firm's zone: %w", err)
	}
	changes := schedule.Rebook(snap, draft, snap.Bookings, snap.Now, s.ids)
	return schedule.ShortNotices(changes, snap.Jobs, snap.ScaffoldFirms, snap.Holidays, civil.DateOf(snap.Now, loc)), nil
}

// Drop puts a draft aside: it can no longer be published. Dropping one that was
// dropped already changes nothing.
func (s *Service) Drop(ctx context.Context, firm, plan uuid.UUID) error {
	p, err := s.schedule.Plan(ctx, firm, plan)
	switch {
	case err != nil:
		return err
	case p.State == schedule.Dropped:
		return nil
	case p.State != schedule.Draft:
		return fault.Changed("plan", fmt.Sprint(p.Version), "it is "+string(p.State)+": only a draft can be put aside")
	}
	return s.schedule.DropPlan(ctx, firm, plan)
}

// current gives the published plan; nil when none was ever published.
func (s *Service) current(ctx context.Context, firm uuid.UUID) (*schedule.Plan, error) {
	return orNone(s.schedule.CurrentPlan(ctx, firm))
}

// orNone turns "there is none" into nil.
func orNone(p schedule.Plan, err error) (*schedule.Plan, error) {
	switch {
	case err == nil:
		return &p, nil
	case fault.KindOf(err) == fault.NotFound:
		return nil, nil
	default:
		return nil, err
	}
}

// whyStale says why a draft can no longer be published; "" = it can.
func (s *Service) whyStale(ctx context.Context, firm uuid.UUID, draft schedule.Plan, current *schedule.Plan) (string, error) {
	if why := overtaken(draft, current); why != "" {
		return why, nil
	}
	snap, err := s.snapshotFrom(ctx, firm, draft.FirstDay, draft.Days)
	if err != nil {
		return "", err
	}
	return brokenNow(snap, draft)
}

// overtaken says which other plan took the place of a draft; "" = none.
func overtaken(draft schedule.Plan, current *schedule.Plan) string {
	base := uuid.Nil
	if current != nil {
		base = current.ID
	}
	switch {
	case draft.State != schedule.Draft:
		return "it is " + string(draft.State) + ": plan again"
	case draft.Base != base && current != nil:
		return fmt.Sprintf("plan %d was published since it was made: plan again", current.Version)
	case draft.Base != base:
		return "the plan it was made from is no longer published: plan again"
	}
	return ""
}

// brokenNow says what stands against a draft by the facts of a snapshot; "" =
// nothing.
func brokenNow(snap schedule.Snapshot, draft schedule.Plan) (string, error) {
	first, err := firstPlannable(snap.Firm, snap.Now)
	if err != nil {
		return "", err
	}
	if draft.FirstDay < first {
		return fmt.Sprintf("it begins on %s, and the first day that can still be planned is %s: plan again", draft.FirstDay.Short(), first.Short()), nil
	}
	if broken := schedule.Validate(snap, draft); len(broken) > 0 {
		if why := newSince(snap, draft, broken); why != "" {
			return why, nil
		}
		return "the facts changed since it was made: " + broken[0].Say, nil
	}
	return "", nil
}

// Proposal is the newest draft beside the published plan.
type Proposal struct {
	directory
	Draft    *schedule.Plan // nil = none
	Current  *schedule.Plan // nil = none published yet
	Stale    string         // why the draft can no longer be published; "" = it can
	Today    civil.Date
	Holidays []schedule.Holiday
	Location *time.Location

	pins       []schedule.Pin
	frozenDays int // the firm's
}

// Proposal reads the newest draft for comparison. A draft older than the
// published plan is not one any more.
func (s *Service) Proposal(ctx context.Context, firm uuid.UUID) (Proposal, error) {
	var p Proposal
	draft, err := orNone(s.schedule.NewestDraft(ctx, firm))
	if err != nil {
		return p, err
	}
	if p.Current, err = s.current(ctx, firm); err != nil {
		return p, err
	}
	if draft == nil || p.Current != nil && draft.Version < p.Current.Version {
		return p, nil
	}
	p.Draft = draft
	f, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return p, err
	}
	if p.Location, err = f.Location(); err != nil {
		return p, fmt.Errorf("read the firm's zone: %w", err)
	}
	p.Today, p.frozenDays = civil.DateOf(s.now(), p.Location), f.Rates.FrozenDays
	if p.directory, err = s.directory(ctx, firm); err != nil {
		return p, err
	}
	if p.Holidays, err = s.schedule.Holidays(ctx, firm); err != nil {
		return p, err
	}
	if p.pins, err = s.schedule.Pins(ctx, firm); err != nil {
		return p, err
	}
	p.Stale, err = s.whyStale(ctx, firm, *draft, p.Current)
	return p, err
}

// directory reads the names of a firm's jobs, crews and scaffold firms.
func (s *Service) directory(ctx context.Context, firm uuid.UUID) (directory, error) {
	jobs, err := s.schedule.Jobs(ctx, firm)
	if err != nil {
		return directory{}, err
	}
	crews, err := s.schedule.Crews(ctx, firm)
	if err != nil {
		return directory{}, err
	}
	firms, err := s.schedule.ScaffoldFirms(ctx, firm)
	if err != nil {
		return directory{}, err
	}
	return newDirectory(jobs, crews, firms), nil
}

// Board is what the week's board shows.
type Board struct {
	directory
	Location      *time.Location
	From          civil.Date
	Days          int
	Holidays      []schedule.Holiday
	Crews         []schedule.Crew // by name
	ScaffoldFirms []schedule.ScaffoldFirm
	Plan          *schedule.Plan   // published; nil = none yet
	Visits        []schedule.Visit // the plan's, and for days before it those of the plan that was in force
	Draft         *schedule.Plan   // newer than it; nil = none
	Bookings      []schedule.Booking
	Pins          []schedule.Pin
	Weather       map[civil.HalfDay]web.HalfWeather
	WeatherOf     string // whose weather it is, in words
	Credits       []string
}

// Board reads what the week's board shows of some days.
func (s *Service) Board(ctx context.Context, firm uuid.UUID, from civil.Date, days int) (Board, error) {
	b := Board{From: from, Days: days, Weather: map[civil.HalfDay]web.HalfWeather{}}
	snap, err := s.schedule.Snapshot(ctx, firm, s.now(), from, days)
	if err != nil {
		return b, err
	}
	if b.Location, err = snap.Firm.Location(); err != nil {
		return b, fmt.Errorf("read the firm's zone: %w", err)
	}
	b.Holidays, b.Crews, b.ScaffoldFirms, b.Pins = snap.Holidays, snap.Crews, snap.ScaffoldFirms, snap.Pins
	if b.directory, err = s.directory(ctx, firm); err != nil {
		return b, err
	}
	if b.Plan, err = s.current(ctx, firm); err != nil {
		return b, err
	}
	if err := s.visitsOfBoard(ctx, firm, &b); err != nil {
		return b, err
	}
	if b.Bookings, err = s.schedule.Bookings(ctx, firm); err != nil {
		return b, err
	}
	draft, err := orNone(s.schedule.NewestDraft(ctx, firm))
	if err != nil {
		return b, err
	}
	if draft != nil && (b.Plan == nil || draft.Version > b.Plan.Version) {
		b.Draft = draft
	}
	return b, s.weatherOfBoard(ctx, firm, snap, &b)
}

// visitsOfBoard gathers the visits of the days shown. A plan published in the
// course of a day begins on the next one: today and the days before it keep the
// visits of the plan that was in force, or the board would call them free.
func (s *Service) visitsOfBoard(ctx context.Context, firm uuid.UUID, b *Board) error {
	if b.Plan == nil {
		return nil
	}
	type key struct {
		job, crew uuid.UUID
		stage     schedule.StageKind
	}
	at := map[key]int{}
	for _, v := range b.Plan.Visits {
		at[key{v.Job, v.Crew, v.Stage}] = len(b.Visits)
		b.Visits = append(b.Visits, v)
	}
	for d := b.From; d < min(b.Plan.FirstDay, b.From+civil.Date(b.Days)); d++ {
		then, err := orNone(s.schedule.PlanOn(ctx, firm, d))
		if err != nil {
			return err
		}
		if then == nil {
			continue
		}
		for _, v := range then.Visits {
			halves := onDay(v.HalfDays, d)
			k := key{v.Job, v.Crew, v.Stage}
			i, there := at[k]
			switch {
			case len(halves) == 0:
			case there:
				all := slices.Concat(b.Visits[i].HalfDays, halves)
				slices.Sort(all)
				b.Visits[i].HalfDays = slices.Compact(all)
			default:
				v.HalfDays = halves
				at[k] = len(b.Visits)
				b.Visits = append(b.Visits, v)
			}
		}
	}
	return nil
}

// weatherOfBoard puts the weather under each half-day: that of the most exposed
// site among the open jobs and the largest of their modules, so that no roof has
// it worse than shown.
func (s *Service) weatherOfBoard(ctx context.Context, firm uuid.UUID, snap schedule.Snapshot, b *Board) error {
	first := b.From.In(civil.Morning)
	for h := first; h < first+civil.HalfDay(2*b.Days); h++ {
		if _, to := snap.Firm.Hours.Window(h, b.Location); !to.After(s.now()) {
			b.Weather[h] = web.HalfWeather{Past: true}
		}
	}
	site, sites, ok := mostExposed(snap.Jobs)
	if !ok {
		return nil
	}
	series, err := s.forecastWithPast(ctx, firm, site.ID)
	if err != nil {
		return err
	}
	b.Credits = credits(series.Provider)
	for i := range series.Beside {
		b.Credits = append(b.Credits, credit(series.Beside[i].Provider)...)
	}
	b.WeatherOf = fmt.Sprintf("roof work at the most exposed of %s (%s)", counted(sites, "site", "sites"), shortPlace(site.Address))
	limits, err := s.archive.Limits(ctx, firm)
	if err != nil {
		return err
	}
	climate, learnt, err := s.experience(ctx, firm)
	if err != nil {
		return err
	}
	ahead := weather.Ahead{Place: placeOfSite(site), Tasks: roofTasks, Panel: largestModule(snap.Jobs), First: first, N: 2 * b.Days,
		Hours: snap.Firm.Hours, Loc: b.Location, Now: s.now(), Climate: climate, Shrink: learnt}
	ahead.Place.Faces = weather.Value{} // the sun of one roof is not that of all
	chances := weather.Outlook(series, limits, ahead)
	chance := lesser(chances[0], chances[1])
	official, err := s.warnings(ctx, firm)
	if err != nil {
		return err
	}
	for i := range ahead.N {
		h := first + civil.HalfDay(i)
		if b.Weather[h].Past {
			continue
		}
		from, to := snap.Firm.Hours.Window(h, b.Location)
		j := judgeRoof(series, limits, official.over(weather.Work{Place: ahead.Place, Panel: ahead.Panel, From: from, To: to, Loc: b.Location, Now: s.now()}))
		b.Weather[h] = halfWeather(j, chance[i])
	}
	return nil
}

// mostExposed gives the site of an open job where the wind at the work is
// strongest: the smoothest terrain, then the highest work.
func mostExposed(jobs []schedule.Job) (site schedule.Site, sites int, ok bool) {
	best := 0.0
	seen := map[uuid.UUID]bool{}
	for _, j := range jobs {
		if j.State != schedule.JobOpen || seen[j.Site.ID] {
			continue
		}
		seen[j.Site.ID] = true
		_, gust, _, err := placeOfSite(j.Site).AtWork(weather.Is(10), weather.Is(15))
		if err == nil && (!ok || gust.N > best) {
			best, site, ok = gust.N, j.Site, true
		}
	}
	return site, len(seen), ok
}

// halfWeather is one half-day's weather as the board shows it: its highest gust
// and wettest hour against their stop levels.
func halfWeather(j weather.Judgement, chance weather.Chance) web.HalfWeather {
	w := web.HalfWeather{Chance: webChance(chance), Sky: webSky(j.Verdict), Why: j.Sentence()}
	for i, l := range j.Levels {
		switch l.Quantity {
		case weather.WindGust:
			w.GustMS, w.GustLimitMS = webNum(highest(j.Steps, i)), webNum(l.Stop)
		case weather.Rain:
			w.RainMM, w.RainLimitMM = webNum(highest(j.Steps, i)), webNum(l.Stop)
		}
	}
	return w
}

// highest gives the highest value that one level found in any step. A step in
// which it is not known could hide a higher one, so then it is not known.
func highest(steps []weather.StepVerdict, level int) weather.Value {
	top := weather.Value{}
	for i, s := range steps {
		if level >= len(s.Checks) || !s.Checks[level].Value.Known {
			return weather.Value{}
		}
		if v := s.Checks[level].Value; i == 0 || v.N > top.N {
			top = v
		}
	}
	return top
}
