package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/api"
	"toeboard/migrations"
	"toeboard/migrations/localpg"
	"toeboard/migrations/queue"
	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/archive"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

type feedVerb struct {
	Bookings int  `help:"Bookings in the feed." default:"500"`
	Requests int  `help:"Requests of each kind." default:"400"`
	Cold     int  `help:"Requests after a change, for which the feed is made anew." default:"20"`
	JSON     bool `name:"json" help:"One object on one line."`
}

// feedResult is what one run measured, medians all, over one connection.
type feedResult struct {
	Bookings      int     `json:"bookings"`
	Bytes         int     `json:"bytes"`
	Requests      int     `json:"requests"`
	MedianMs      float64 `json:"median_ms"`       // 200 with the whole feed
	P95Ms         float64 `json:"p95_ms"`          // of the same
	NotModifiedMs float64 `json:"not_modified_ms"` // 304 to If-None-Match
	ColdMs        float64 `json:"cold_ms"`         // 200 right after a booking changed
	StaticMs      float64 `json:"static_ms"`       // a file of the same size, by the standard library, in the same run
	Ratio         float64 `json:"ratio_to_static"`
}

// Run serves an invented scaffold firm's feed and measures it.
func (v feedVerb) Run(ctx context.Context, o out) error {
	for field, c := range map[string]struct{ value, most int }{"--bookings": {v.Bookings, 20_000}, "--requests": {v.Requests, 100_000}, "--cold": {v.Cold, 10_000}} {
		if c.value < 1 || c.value > c.most {
			return fault.Bad(field, fmt.Sprint(c.value), fmt.Sprintf("1 to %d", c.most))
		}
	}
	dir, err := os.MkdirTemp("", "toeboard-bench-feed-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if err := os.Chmod(dir, 0o711); err != nil { // Postgres may run as another user
		return err
	}
	yard, err := openYard(ctx, filepath.Join(dir, "pg"), v.Bookings)
	if err != nil {
		return err
	}
	defer yard.close()
	r, err := yard.measure(ctx, v, dir)
	if err != nil {
		return err
	}
	if v.JSON {
		return o.line(r)
	}
	ms := func(x float64) string { return fmt.Sprintf("%.2f", x) }
	return o.table([]string{"bookings", "bytes", "200 [ms]", "p95 [ms]", "304 [ms]", "after a change [ms]", "file [ms]", "to file"},
		[][]string{{fmt.Sprint(r.Bookings), fmt.Sprint(r.Bytes), ms(r.MedianMs), ms(r.P95Ms), ms(r.NotModifiedMs), ms(r.ColdMs), ms(r.StaticMs), ms(r.Ratio)}})
}

// yard is a served firm with one scaffold firm.
type yard struct {
	server *localpg.Server
	owner  *pgx.Conn
	http   *http.Server
	base   string
	feed   string
	ends   []func()
}

func (y *yard) close() {
	for _, end := range slices.Backward(y.ends) {
		end()
	}
}

// openYard invents the firm: a job and a scaffold booking for each place.
func openYard(ctx context.Context, dir string, bookings int) (y *yard, err error) {
	y = &yard{}
	defer func() {
		if err != nil {
			y.close()
		}
	}()
	if y.server, err = localpg.Start(ctx, localpg.Options{Dir: dir, Scratch: true, Log: io.Discard}); err != nil {
		return y, err
	}
	y.ends = append(y.ends, func() { y.server.Stop() })
	if err = y.server.EnsureDatabase(ctx, "feed"); err != nil {
		return y, err
	}
	at := y.server.URL("feed")
	if err = migrations.Up(ctx, at); err != nil {
		return y, err
	}
	if y.owner, err = pgx.Connect(ctx, at); err != nil {
		return y, err
	}
	y.ends = append(y.ends, func() { y.owner.Close(context.Background()) })
	pool, err := migrations.Service(ctx, at)
	if err != nil {
		return y, err
	}
	y.ends = append(y.ends, pool.Close)
	ids := func() uuid.UUID { return uuid.Must(uuid.NewV7()) }
	log := slog.New(slog.DiscardHandler)
	pages, err := web.New()
	if err != nil {
		return y, err
	}
	jobs, err := queue.New(pool, log)
	if err != nil {
		return y, err
	}
	store := schedule.NewStore(pool, ids)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return y, err
	}
	y.base = "http://" + l.Addr().String()
	service, err := api.New(api.Deps{Pool: pool, Schedule: store, Safety: safety.NewStore(pool, ids), Archive: archive.NewStore(pool, ids), Web: pages,
		Queue: jobs, Now: func() time.Time { return time.Now().UTC() }, IDs: ids, Log: log, BaseURL: y.base, PrivateLinksAMinute: 1_000_000})
	if err != nil {
		return y, err
	}
	if err = y.fill(ctx, store, service, bookings); err != nil {
		return y, err
	}
	y.http = &http.Server{Handler: service.Handler(), ReadHeaderTimeout: time.Minute}
	go y.http.Serve(l) // ends when it is closed
	y.ends = append(y.ends, func() { y.http.Close() })
	return y, nil
}

func (y *yard) fill(ctx context.Context, store *schedule.Store, service *api.Service, bookings int) error {
	now := time.Now().UTC()
	firm := schedule.Firm{ID: uuid.New(), Name: "Invented Solar", TimeZone: "Europe/London", Division: "england-and-wales", Hours: civil.UsualHours, Rates: schedule.DefaultRates(), BaseLat: 53, BaseLon: -1}
	if err := store.CreateFirm(ctx, firm, nil); err != nil {
		return err
	}
	if err := store.SavePerson(ctx, firm.ID, schedule.Person{ID: uuid.New(), Name: "Invented Office", Role: schedule.Office, Phone: "01632 960000", Active: true}); err != nil {
		return err
	}
	sf := schedule.ScaffoldFirm{ID: uuid.New(), Name: "Invented Access", Email: "yard@access.example", GangsPerDay: 50, Sets: 500, VisitPrice: 780_00, IncludedWeeks: 4, WeeklyHire: 45_00, Active: true}
	if err := store.SaveScaffoldFirm(ctx, firm.ID, sf); err != nil {
		return err
	}
	first := civil.DateOf(now, time.UTC)
	plan := schedule.Plan{FirstDay: first, Days: 200, Seed: 1, Schedules: 1, MadeBy: "bench", MadeAt: now}
	for i := range bookings {
		j := schedule.Job{ID: uuid.New(), Ref: fmt.Sprintf("B-%05d", i), State: schedule.JobOpen,
			Customer: schedule.Customer{ID: uuid.New(), Name: "Invented household"},
			Site: schedule.Site{ID: uuid.New(), Address: fmt.Sprintf("%d Invented Row, Quillmere", i+1), Postcode: "XQ1 1AB", Lat: 53, Lon: -1, Terrain: "III", WorkingHeightM: 6.5,
				Facts: map[string]any{"pitch_deg": 35.0, "access": "internal_ladder", "scaffold_load_class": 3.0, "scaffold_lifts": 2.0, "footpath": true}},
			Modules: 10, ModuleWatts: 430, ModuleKg: 21.5, ModuleM2: 1.95, ReadyOn: civil.NoDate, PromisedOn: civil.NoDate, CreatedAt: now}
		for _, k := range schedule.StageKinds {
			j.Stages = append(j.Stages, schedule.Stage{Kind: k, HalfDays: 1, StartedOn: civil.NoDate, DoneOn: civil.NoDate})
		}
		if err := store.SaveJob(ctx, firm.ID, j, "bench", now); err != nil {
			return err
		}
		up := first + civil.Date(7+i%120)
		for _, v := range []schedule.Visit{{Stage: schedule.ScaffoldErection, HalfDays: []civil.HalfDay{up.In(civil.Morning)}}, {Stage: schedule.ScaffoldStrike, HalfDays: []civil.HalfDay{(up + 9).In(civil.Morning)}}} {
			v.Job, v.ScaffoldFirm, v.Why = j.ID, sf.ID, "a gang is free"
			plan.Visits = append(plan.Visits, v)
		}
	}
	plan.FirstDay = first
	saved, err := store.SavePlan(ctx, firm.ID, plan)
	if err != nil {
		return err
	}
	if _, changes, err := store.Publish(ctx, firm.ID, saved.ID, "bench", now, nil); err != nil || len(changes) != bookings {
		return fmt.Errorf("book %d scaffolds: %d booked: %w", bookings, len(changes), err)
	}
	link, err := service.NewLink(ctx, firm.ID, sf.ID, time.Time{}, "bench")
	y.feed = link.Feed
	return err
}

// measure asks for the feed again and again, each kind of request in turn, so
// that what else the machine does falls on all of them alike.
func (y *yard) measure(ctx context.Context, v feedVerb, dir string) (feedResult, error) {
	r := feedResult{Bookings: v.Bookings, Requests: v.Requests}
	body, tag, _, err := get(ctx, y.feed, "")
	if err != nil {
		return r, err
	}
	r.Bytes = len(body)
	if err := os.WriteFile(filepath.Join(dir, "feed.ics"), body, 0o600); err != nil {
		return r, err
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return r, err
	}
	file := &http.Server{Handler: http.FileServer(http.Dir(dir)), ReadHeaderTimeout: time.Minute}
	go file.Serve(l)
	defer file.Close()
	var whole, same, static, cold []float64
	for range v.Requests {
		for _, k := range []struct {
			to     *[]float64
			at     string
			tag    string
			status int
		}{{&whole, y.feed, "", 200}, {&same, y.feed, tag, 304}, {&static, (&url.URL{Scheme: "http", Host: l.Addr().String(), Path: "/feed.ics"}).String(), "", 200}} {
			got, _, ms, err := get(ctx, k.at, k.tag)
			if err != nil {
				return r, err
			}
			if (k.status == 200) != (len(got) == r.Bytes) {
				return r, fmt.Errorf("%d bytes where status %d was due", len(got), k.status)
			}
			*k.to = append(*k.to, ms)
		}
	}
	for range v.Cold {
		if _, err := y.owner.Exec(ctx, `UPDATE booking SET changed_at = now() WHERE booking_id = (SELECT booking_id FROM booking LIMIT 1)`); err != nil {
			return r, err
		}
		got, newTag, ms, err := get(ctx, y.feed, tag)
		if err != nil {
			return r, err
		}
		if len(got) == 0 || newTag == tag {
			return r, fmt.Errorf("a changed booking was not served")
		}
		tag = newTag
		cold = append(cold, ms)
	}
	r.MedianMs, r.P95Ms = part(whole, 0.5), part(whole, 0.95)
	r.NotModifiedMs, r.StaticMs, r.ColdMs = part(same, 0.5), part(static, 0.5), part(cold, 0.5)
	r.Ratio = r.MedianMs / r.StaticMs
	return r, nil
}

// get asks once; the time runs until the last byte is read.
func get(ctx context.Context, at, tag string) (body []byte, newTag string, ms float64, err error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, at, nil)
	if err != nil {
		return nil, "", 0, err
	}
	if tag != "" {
		req.Header.Set("If-None-Match", tag)
	}
	began := time.Now()
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return nil, "", 0, err
	}
	defer res.Body.Close()
	body, err = io.ReadAll(res.Body)
	ms = float64(time.Since(began).Microseconds()) / 1000
	if err == nil && res.StatusCode != http.StatusOK && res.StatusCode != http.StatusNotModified {
		err = fmt.Errorf("%s answered %s: %s", at, res.Status, body)
	}
	return body, res.Header.Get("ETag"), ms, err
}

// part gives the value below which a share of the values lies.
func part(values []float64, share float64) float64 {
	values = slices.Clone(values)
	slices.Sort(values)
	return values[min(len(values)-1, int(share*float64(len(values))))]
}
