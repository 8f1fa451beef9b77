package api

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"runtime/debug"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/archive"
	"toeboard/weather/civil"
	"toeboard/web"
)

// Fetcher asks one weather service. It keeps the service's manners. Each answer
// names the point that it was asked for; beside an error it gives the answers
// that it has got.
type Fetcher interface {
	Fetch(ctx context.Context, points []weather.Point) ([]Fetched, error)
}

// Fetched is one answer of a weather service about one point.
type Fetched struct {
	Point    weather.Point // as asked for
	Provider string        // a key of Deps.ParseForecast
	Body     []byte        // as it came
	Series   weather.Series
}

// RefreshForecasts asks the firm's weather services, as the firm wants them
// asked, for the forecast of every site with an open job and keeps the answers.
// It gives how many were kept; answers that came before a failure are kept too,
// each at the sites of the point that it names. An answer about another place is
// not kept and is an error.
func (s *Service) RefreshForecasts(ctx context.Context, firm uuid.UUID, from Sources) (int, error) {
	use, err := s.Services(ctx, firm)
	if err != nil {
		return 0, err
	}
	f, err := from.by(use)
	if err != nil {
		return 0, err
	}
	jobs, err := s.schedule.Jobs(ctx, firm)
	if err != nil {
		return 0, err
	}
	points, sites := openSites(jobs)
	if len(points) == 0 {
		return 0, nil
	}
	answers, failed := f.Fetch(ctx, points)
	kept := 0
	for _, a := range answers {
		from, to, ok := covered(a.Series)
		if !ok {
			continue // an answer without an hour says nothing
		}
		if len(sites[a.Point]) == 0 || !a.Series.About(a.Point) {
			failed = errors.Join(failed, fmt.Errorf("%s answered about %.2f, %.2f for the point %.2f, %.2f: not kept",
				a.Provider, a.Series.Lat, a.Series.Lon, a.Point.Lat, a.Point.Lon))
			continue
		}
		for _, site := range sites[a.Point] {
			if err := s.archive.Save(ctx, firm, archive.Answer{Site: site, Provider: a.Provider, ModelRun: a.Series.ModelRun,
				FetchedAt: a.Series.FetchedAt, From: from, To: to, Body: a.Body}); err != nil {
				return kept, errors.Join(failed, fmt.Errorf("keep a forecast: %w", err))
			}
			kept++
		}
	}
	return kept, failed
}

// openSites gives the points of open jobs, each once, and the sites at each.
func openSites(jobs []schedule.Job) (points []weather.Point, sites map[weather.Point][]uuid.UUID) {
	seen := map[uuid.UUID]bool{}
	sites = map[weather.Point][]uuid.UUID{}
	for _, j := range jobs {
		if j.State != schedule.JobOpen || seen[j.Site.ID] {
			continue
		}
		seen[j.Site.ID] = true
		p := weather.Point{Lat: j.Site.Lat, Lon: j.Site.Lon}
		if sites[p] == nil {
			points = append(points, p)
		}
		sites[p] = append(sites[p], j.Site.ID)
	}
	return points, sites
}

// covered gives the time that a series speaks of.
func covered(s weather.Series) (from, to time.Time, ok bool) {
	for _, m := range s.Members {
		if len(m.Hours) == 0 {
			continue
		}
		last := m.Hours[len(m.Hours)-1]
		if !ok || m.Hours[0].From.Before(from) {
			from = m.Hours[0].From
		}
		if end := last.From.Add(last.Span); !ok || end.After(to) {
			to = end
		}
		ok = true
	}
	return from, to, ok && to.After(from)
}

// read reads a kept answer. One that can no longer be read counts as none, and
// so does one about a place where the site no longer lies: the series without
// hours is judged unknown.
func (s *Service) read(a archive.Answer) weather.Series {
	parse, ok := s.parse[a.Provider]
	if !ok {
		s.log.Error("read a kept forecast: nobody reads this provider", "provider", a.Provider)
		return weather.Series{}
	}
	all, err := parse(a.Body, a.FetchedAt)
	if err != nil || len(all) == 0 {
		s.log.Error("read a kept forecast", "provider", a.Provider, "fetched", a.FetchedAt, "error", err)
		return weather.Series{}
	}
	if !all[0].About(a.Place) {
		return weather.Series{}
	}
	return all[0]
}

// forecastOf gives the newest forecast of a site by the firm's weather services;
// the empty series when there is none about the place where the site lies now.
func (s *Service) forecastOf(ctx context.Context, firm, site uuid.UUID) (weather.Series, error) {
	answers, how, err := s.answers(ctx, firm, site)
	return s.together(answers[site], how), err
}

// newestForecasts reads the newest answers about all sites and gives what reads
// one site's forecast out of them, once and only when it is asked for.
func (s *Service) newestForecasts(ctx context.Context, firm uuid.UUID) (of func(site uuid.UUID) weather.Series, err error) {
	answers, how, err := s.answers(ctx, firm, uuid.Nil)
	if err != nil {
		return nil, err
	}
	known := map[uuid.UUID]weather.Series{}
	return func(site uuid.UUID) weather.Series {
		series, ok := known[site]
		if !ok {
			series = s.together(answers[site], how)
			known[site] = series
		}
		return series
	}, nil
}

// answers gives for a site, or with uuid.Nil for all, the newest answer of each
// of the firm's weather services in the firm's order, and how they go together.
func (s *Service) answers(ctx context.Context, firm, site uuid.UUID) (map[uuid.UUID][]archive.Answer, weather.Together, error) {
	if len(s.offered) == 0 {
		all, err := s.newestOfAnybody(ctx, firm, site)
		return all, weather.FirstAnswers, err
	}
	use, err := s.Services(ctx, firm)
	if err != nil {
		return nil, use.Together, err
	}
	all, err := s.archive.NewestOf(ctx, firm, site, s.providersOf(use))
	return all, use.Together, err
}

// newestOfAnybody gives the newest answer, whoever gave it.
func (s *Service) newestOfAnybody(ctx context.Context, firm, site uuid.UUID) (map[uuid.UUID][]archive.Answer, error) {
	all := map[uuid.UUID][]archive.Answer{}
	if site != uuid.Nil {
		a, found, err := s.archive.Newest(ctx, firm, site)
		if found {
			all[site] = []archive.Answer{a}
		}
		return all, err
	}
	newest, err := s.archive.NewestAll(ctx, firm)
	for site, a := range newest {
		all[site] = []archive.Answer{a}
	}
	return all, err
}

// sameRound is how far apart two services' answers may have been fetched to be
// weighed together, or one preferred to the other: an answer that is older by
// more than this is of a service that fell silent, and the newer one is better.
const sameRound = 3 * time.Hour

// together makes one forecast of several services' answers about a site, which
// stand in the firm's order: the first that can be read and is of the newest
// round, and where the worst counts the others beside it.
func (s *Service) together(answers []archive.Answer, how weather.Together) (first weather.Series) {
	newest := time.Time{}
	for _, a := range answers {
		if a.FetchedAt.After(newest) {
			newest = a.FetchedAt
		}
	}
	for _, a := range answers {
		if newest.Sub(a.FetchedAt) > sameRound {
			continue
		}
		series := s.read(a)
		switch {
		case len(series.Members) == 0:
		case how == weather.FirstAnswers:
			return series
		case len(first.Members) == 0:
			first = series
		default:
			first.Beside = append(first.Beside, series)
		}
	}
	return first
}

// knownPast is how far before now a forecast should reach [h]: a day in which a
// wet roof may have dried.
const knownPast = 24 * time.Hour

// forecastWithPast is forecastOf with the day before it, where an earlier answer
// was kept that tells of it: services begin their answers at midnight, and of a
// roof whose yesterday nobody knows it must be assumed that it is wet.
func (s *Service) forecastWithPast(ctx context.Context, firm, site uuid.UUID) (weather.Series, error) {
	series, err := s.forecastOf(ctx, firm, site)
	if err != nil || len(series.Members) == 0 || len(series.Members[0].Hours) == 0 {
		return series, err
	}
	begins := series.Members[0].Hours[0].From
	if !begins.After(s.now().Add(-knownPast)) {
		return series, nil
	}
	a, found, err := s.archive.Past(ctx, firm, site, begins)
	if err != nil || !found {
		return series, err
	}
	return series.WithPast(s.read(a)), nil
}

// placeOfSite brings a site to what the weather room asks of a place. A terrain
// that cannot be read stays unknown, and so does every verdict there.
func placeOfSite(site schedule.Site) weather.Place {
	terrain, err := weather.ParseTerrain(site.Terrain)
	if err != nil {
		terrain = weather.TerrainUnknown
	}
	return weather.Place{Lat: site.Lat, Lon: site.Lon, Terrain: terrain, HeightM: site.WorkingHeightM,
		Exposure: surveyNumber(site, edgeWindFact).N, Faces: roofFaces(site)}
}

// What the survey says of the roof that the weather room asks: to which direction
// its face looks [degrees clockwise from north], and how many times as strong as
// over open roof the wind is at its ridge, hip and eaves. Where nobody said, the
// first is not known and the second is once: the firm's own choice, no source.
const (
	roofFacesFact = "roof_faces_deg"
	edgeWindFact  = "edge_wind"
)

func roofFaces(site schedule.Site) weather.Value { return surveyNumber(site, roofFacesFact) }

// surveyNumber gives a number of the survey; what is not known or cannot be read
// is unknown.
func surveyNumber(site schedule.Site, key string) weather.Value {
	facts, _ := safety.FactsFrom(map[string]any{key: site.Facts[key]})
	if f, is := facts[key]; is {
		return weather.Is(f.N)
	}
	return weather.Value{}
}

// edgeWords writes the wind at the roof's edges, "" where it is no stronger.
func edgeWords(p weather.Place) string {
	if p.Exposure <= 1 {
		return ""
	}
	return fmt.Sprintf(", wind at its edges taken %s times", decimalOf(p.Exposure))
}

// asksOf gives what would have to be known to judge a roof's weather whole.
func asksOf(j schedule.Job) []string {
	if _, has := j.Stage(schedule.RoofWork); !has || roofFaces(j.Site).Known {
		return nil
	}
	return []string{"Which way the roof face looks is not known, so low sun in the crew's eyes is not told."}
}

// facesWords writes to which direction a roof face looks, "" when nobody knows.
func facesWords(faces weather.Value) string {
	if !faces.Known {
		return ""
	}
	points := []string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}
	return fmt.Sprintf(", its face to the %s (%s° from north)", points[int(math.Round(faces.N/45))%len(points)], decimalOf(faces.N))
}

// moduleHandlers is how many people carry a module to a roof (common practice,
// no source: two carry what weighs over 20 kg).
const moduleHandlers = 2

// moduleOf is the module of a job as the wind meets it; nil when nobody said
// how large it is, for which the weather room takes a large one.
func moduleOf(j schedule.Job) *weather.Panel {
	if j.ModuleM2 <= 0 {
		return nil
	}
	p := weather.PanelOfArea(j.ModuleM2, moduleHandlers)
	return &p
}

// carrying tells from which gust on a job's module is not carried, with its sum;
// "" for a job without roof work.
func (s *Service) carrying(ctx context.Context, firm uuid.UUID, j schedule.Job) (string, error) {
	if _, has := j.Stage(schedule.RoofWork); !has {
		return "", nil
	}
	limits, err := s.archive.Limits(ctx, firm)
	if err != nil {
		return "", err
	}
	c, err := weather.CarryingLimit(limits, moduleOf(j))
	if err != nil {
		return "No limit can be worked out, so carrying is not clear: " + err.Error(), nil
	}
	return web.WithMPH(c.Sentence()), nil
}

// roofWeather judges the working day of a job's roof, within daylight where there
// is any; day civil.NoDate is today.
func (s *Service) roofWeather(ctx context.Context, firm uuid.UUID, j schedule.Job, day civil.Date) (weather.Judgement, error) {
	return s.dayWeather(ctx, firm, j, day, judgeRoof)
}

// dayWeather has a working day at a job's site judged, with the newest forecast, the
// limits in force and the official warnings; day civil.NoDate is today.
func (s *Service) dayWeather(ctx context.Context, firm uuid.UUID, j schedule.Job, day civil.Date,
	judge func(weather.Series, weather.Limits, weather.Work) weather.Judgement) (weather.Judgement, error) {
	f, loc, err := s.firmAndZone(ctx, firm)
	if err != nil {
		return weather.Judgement{}, err
	}
	if !day.Known() {
		day = civil.DateOf(s.now(), loc)
	}
	limits, err := s.archive.Limits(ctx, firm)
	if err != nil {
		return weather.Judgement{}, err
	}
	series, err := s.forecastWithPast(ctx, firm, j.Site.ID)
	if err != nil {
		return weather.Judgement{}, err
	}
	official, err := s.warnings(ctx, firm)
	if err != nil {
		return weather.Judgement{}, err
	}
	q := weather.Work{Place: placeOfSite(j.Site), Task: weather.PanelCarrying, Panel: moduleOf(j), Loc: loc, Now: s.now()}
	q.From, _ = f.Hours.Window(day.In(civil.Morning), loc)
	_, q.To = f.Hours.Window(day.In(civil.Afternoon), loc)
	if light, _ := q.WithinDaylight(limits); light.To.After(light.From) {
		q = light
	}
	return judge(series, limits, official.over(q)), nil
}

// largestModule is the module of some open jobs that the wind stops first. One
// that nobody named counts as the large one that stands in for it.
func largestModule(jobs []schedule.Job) *weather.Panel {
	area := func(p *weather.Panel) float64 {
		if p == nil {
			r := weather.ReferencePanel()
			p = &r
		}
		return p.WidthM * p.HeightM
	}
	var largest *weather.Panel
	any := false
	for _, j := range jobs {
		if j.State != schedule.JobOpen {
			continue
		}
		if p := moduleOf(j); !any || area(p) > area(largest) {
			largest, any = p, true
		}
	}
	return largest
}

func jobsAt(jobs []schedule.Job, site uuid.UUID) []schedule.Job {
	var at []schedule.Job
	for _, j := range jobs {
		if j.Site.ID == site {
			at = append(at, j)
		}
	}
	return at
}

// roofTasks are the tasks whose limits roof work must keep, all of them.
var roofTasks = []weather.Task{weather.PanelCarrying, weather.RoofCovering}

// outdoorTasks are the tasks that a plan asks the weather for; roof work keeps
// the limits of the last two, both.
var outdoorTasks = []weather.Task{weather.ScaffoldErection, weather.ScaffoldStrike, weather.PanelCarrying, weather.RoofCovering}

// siteLook is what the sky allows at one site.
type siteLook struct {
	site    uuid.UUID
	look    *weather.Look
	chances [][]weather.Chance // by outdoor task, then half-day of the snapshot
	members int                // of its forecast
	gangs   []gangLook         // of scaffold firms with a gust limit of their own
}

// gangTasks are what a scaffold firm's own gust limit is about.
var gangTasks = []weather.Task{weather.ScaffoldErection, weather.ScaffoldStrike}

// gangLook is what the sky allows a scaffold firm with a gust limit of its own.
type gangLook struct {
	firm    uuid.UUID
	look    *weather.Look
	chances [][]weather.Chance // by gangTasks
}

// limitsOf tightens the firm's limits by a scaffold firm's own.
func limitsOf(f schedule.ScaffoldFirm, limits weather.Limits) weather.Limits {
	if f.GustLimit == 0 {
		return limits
	}
	return limits.WithGust(weather.Is(f.GustLimit), "limit of "+f.Name, gangTasks...)
}

// looks holds the newest forecast of each site of a snapshot, and past it the
// climate, against the limits of the outdoor tasks. Reading and judging is most
// of what the planner's pages wait for, so each processor takes a site at a time.
func (s *Service) looks(ctx context.Context, firm uuid.UUID, snap schedule.Snapshot) ([]siteLook, error) {
	loc, err := snap.Firm.Location()
	if err != nil {
		return nil, fmt.Errorf("read the firm's zone: %w", err)
	}
	answers, how, err := s.answers(ctx, firm, uuid.Nil)
	if err != nil {
		return nil, err
	}
	limits, err := s.archive.Limits(ctx, firm)
	if err != nil {
		return nil, err
	}
	climate, learnt, err := s.experience(ctx, firm)
	if err != nil {
		return nil, err
	}
	var sites []schedule.Site
	seen := map[uuid.UUID]bool{}
	for _, j := range snap.Jobs {
		if !seen[j.Site.ID] {
			seen[j.Site.ID] = true
			sites = append(sites, j.Site)
		}
	}
	list := make([]siteLook, len(sites))
	eachOf(len(sites), func(i int) {
		at := sites[i]
		series := s.together(answers[at.ID], how)
		ahead := weather.Ahead{
			Place: placeOfSite(at), Tasks: outdoorTasks, Panel: largestModule(jobsAt(snap.Jobs, at.ID)), First: snap.FirstDay.In(civil.Morning),
			Hours: snap.Firm.Hours, Loc: loc, Now: snap.Now, Climate: climate, Shrink: learnt}
		look := weather.NewLook(series, limits, ahead)
		list[i] = siteLook{site: at.ID, look: look, chances: look.Chances(2 * snap.Days), members: len(series.Members)}
		ahead.Tasks = gangTasks
		for _, f := range snap.ScaffoldFirms {
			if f.GustLimit > 0 {
				look := weather.NewLook(series, limitsOf(f, limits), ahead)
				list[i].gangs = append(list[i].gangs, gangLook{f.ID, look, look.Chances(2 * snap.Days)})
			}
		}
	})
	return list, nil
}

// eachOf does something for 0 to n-1, several at once, and waits for all. A panic
// is the caller's, so that it costs a request and not the process.
func eachOf(n int, do func(i int)) {
	var wait sync.WaitGroup
	var next atomic.Int64
	var broke atomic.Value
	for range min(n, runtime.GOMAXPROCS(0)) {
		wait.Go(func() {
			defer func() {
				if p := recover(); p != nil {
					broke.Store(fmt.Sprintf("%v\n%s", p, debug.Stack()))
				}
			}()
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	wait.Wait()
	if p := broke.Load(); p != nil {
		panic(p)
	}
}

// Outlooks gives the chance of each half-day for each site and outdoor task of
// a snapshot, from the newest forecasts and past them from the climate.
func (s *Service) Outlooks(ctx context.Context, firm uuid.UUID, snap schedule.Snapshot) ([]schedule.Outlook, error) {
	list, err := s.looks(ctx, firm, snap)
	return outlooksOf(list, snap), err
}

func outlooksOf(list []siteLook, snap schedule.Snapshot) (all []schedule.Outlook) {
	for _, l := range list {
		for i, t := range outdoorTasks[:3] {
			chances := l.chances[i]
			if t == weather.PanelCarrying {
				chances = lesser(chances, l.chances[3])
			}
			all = append(all, schedule.Outlook{Site: l.site, Task: t, First: snap.FirstDay.In(civil.Morning), Chances: chances})
		}
		for _, g := range l.gangs {
			for i, t := range gangTasks {
				all = append(all, schedule.Outlook{Site: l.site, By: g.firm, Task: t, First: snap.FirstDay.In(civil.Morning), Chances: lesser(g.chances[i], l.chances[i])})
			}
		}
	}
	return all
}

// lesser takes for each half-day the smaller of two chances; one that is not
// known leaves the half-day unknown.
func lesser(a, b []weather.Chance) []weather.Chance {
	out := make([]weather.Chance, len(a))
	for i := range a {
		switch {
		case !a[i].Known:
			out[i] = a[i]
		case !b[i].Known || b[i].P < a[i].P:
			out[i] = b[i]
		default:
			out[i] = a[i]
		}
	}
	return out
}

// judgeRoof judges a window against the limits of all roof tasks: the worst
// verdict counts, its task's strip is the one shown, and what the other task
// has against the window stands with it, hour by hour too. The levels are the
// tightest of all tasks: a reading on site is held against them.
func judgeRoof(series weather.Series, limits weather.Limits, w weather.Work) weather.Judgement {
	var worst weather.Judgement
	var against []weather.Reason
	for i, t := range roofTasks {
		w.Task = t
		j := weather.Judge(series, limits, w)
		if i == 0 {
			worst = j
			continue
		}
		other := j
		if both := weather.Worse(worst.Verdict, j.Verdict); both != worst.Verdict {
			worst, other = j, worst
		}
		worst = worst.Both(other)
		against = append(against, other.Reasons...)
		worst.Levels = tightest(worst.Levels, other.Levels)
	}
	told := map[string]bool{}
	for _, r := range worst.Reasons {
		told[r.Sentence()] = true
	}
	for _, r := range against {
		if r.Verdict != weather.Go && !told[r.Sentence()] {
			worst.Reasons = append(worst.Reasons, r)
		}
	}
	return worst
}

// tightest takes for each quantity the level that stops the work first. Those
// of the first list keep their places, since the checks of each step go by them.
func tightest(levels, others []weather.Level) []weather.Level {
	out := slices.Clone(levels)
	for _, o := range others {
		i := slices.IndexFunc(out, func(l weather.Level) bool { return l.Quantity == o.Quantity })
		switch {
		case i < 0:
			out = append(out, o)
		case tighter(o.Stop, out[i].Stop, o.Quantity):
			o.Caution = tighterOf(o.Caution, out[i].Caution, o.Quantity)
			out[i] = o
		default:
			out[i].Caution = tighterOf(out[i].Caution, o.Caution, o.Quantity)
		}
	}
	return out
}

// tighter tells whether a limit is met before another; one that is not known is
// none.
func tighter(a, b weather.Value, q weather.Quantity) bool {
	switch {
	case !a.Known || !b.Known:
		return a.Known
	case q.LowStops():
		return a.N > b.N
	}
	return a.N < b.N
}

func tighterOf(a, b weather.Value, q weather.Quantity) weather.Value {
	if tighter(b, a, q) {
		return b
	}
	return a
}

// credits says where weather data comes from, as its licences ask.
func credits(providers ...string) (all []string) {
	for _, p := range providers {
		all = append(all, credit(p)...)
	}
	return all
}

// creditsOf says where the data of a judgement comes from.
func creditsOf(j weather.Judgement) []string {
	return append(credits(j.Provider), credits(j.Beside...)...)
}

func credit(provider string) []string {
	switch provider {
	case "Open-Meteo":
		return []string{"Weather data by Open-Meteo.com (CC BY 4.0)"}
	case "MET Norway":
		return []string{"Weather data by MET Norway (CC BY 4.0)"}
	case "":
		return nil
	default:
		return []string{"Weather: " + provider}
	}
}
