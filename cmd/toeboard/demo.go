package main

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"time"

	"toeboard/api"
	"toeboard/api/mailer"
	"toeboard/schedule"
	"toeboard/weather/civil"
)

type demoVerb struct {
	Once  bool   `help:"Print and exit."`
	Fresh bool   `help:"Load a new invented firm even if today's is there."`
	Live  bool   `help:"Ask a real weather service instead of the composed sky; needs --contact."`
	At    string `help:"Start the demo's clock here, as 2026-12-01T07:15 in the firm's zone; otherwise at 07:15 of the next working morning."`
}

// demoDays is how many working days the printed plan shows.
const demoDays = 10

// Run starts the invented firm, prints what it plans and serves it.
func (v demoVerb) Run(ctx context.Context, s *Settings) error {
	log := s.logger(os.Stderr)
	began := time.Now()
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return err
	}
	defer closeAll(log, db)
	l, err := listen(s.Listen, s.Listen == usualListen) // an address given by hand is meant
	if err != nil {
		return err
	}
	defer l.Close()
	d := &demo{verb: v, settings: s, db: db, log: log, base: "http://" + l.Addr().String(), schedules: api.DefaultSchedules}
	if s.PublicURL != "" {
		d.base = s.PublicURL
	}
	stop, err := d.prepare(ctx)
	if err != nil {
		return err
	}
	defer stop()
	if err := d.print(ctx, os.Stdout); err != nil {
		return err
	}
	fmt.Printf("\nReady %.1f s after the start of the program.\n", time.Since(began).Seconds())
	if v.Once {
		return nil
	}
	fmt.Println("Serving until Ctrl-C.")
	return d.serve(ctx, l)
}

// quiet gives the private server's messages a place: nowhere unless asked for.
func quiet(s *Settings) io.Writer {
	if s.LogLevel == "debug" {
		return os.Stderr
	}
	return io.Discard
}

// demo is one run of the demo.
type demo struct {
	verb     demoVerb
	settings *Settings
	db       *database
	log      *slog.Logger
	base     string // what addresses begin with
	rooms
	state demoState
	now   func() time.Time // the demo's clock
	day   civil.Date       // the first morning
	fetch api.Sources
	mails string // folder of the mails that would have left

	schedules int // the first plan's budget
}

// prepare gets the firm, its forecasts and its plan ready; what is there from
// an earlier start is kept. stop ends the composed sky's server.
func (d *demo) prepare(ctx context.Context) (stop func(), err error) {
	path, err := d.statePath()
	if err != nil {
		return nil, err
	}
	if d.state, err = readDemoState(path); err != nil {
		return nil, err
	}
	if err := d.setClock(); err != nil {
		return nil, err
	}
	if d.rooms, err = wire(d.db, d.now, d.base, d.log, d.settings.runTimes, d.skies, d.mailFolder(path)); err != nil {
		return nil, err
	}
	if stop, err = d.sky(); err != nil {
		return nil, err
	}
	if !d.state.Loaded {
		err = d.begin(ctx, path)
	} else if _, err = d.service.RefreshForecasts(ctx, d.state.Firm, d.fetch); err != nil {
		err = fmt.Errorf("read the forecasts: %w", err)
	}
	if err != nil {
		stop()
		return nil, err
	}
	return stop, nil
}

// mailFolder has the demo's mail written as files beside what it remembers:
// nothing leaves the machine, and every mail can be opened.
func (d *demo) mailFolder(state string) func(*api.Deps) {
	d.mails = filepath.Join(filepath.Dir(state), "mails")
	return func(deps *api.Deps) {
		deps.Mail = api.Mail{Post: mailer.Folder{Dir: d.mails}, From: "bookings@quillmere.example", Answers: "answers@quillmere.example", Folder: d.mails}
	}
}

// setClock goes on with the day that was begun, or begins one: the remembered
// firm is for one morning, and the day after it is another firm's.
func (d *demo) setClock() error {
	loc, err := time.LoadLocation("Europe/London")
	if err != nil {
		return err
	}
	holidays, err := schedule.BankHolidays("england-and-wales")
	if err != nil {
		return err
	}
	begun, day := morningClock(time.Now(), loc, holidays)
	if d.verb.At != "" {
		at, err := clockTime("--at", d.verb.At, loc)
		if err != nil {
			return err
		}
		begun, day = clock{ahead: time.Until(at)}, civil.DateOf(at, loc)
	}
	old := clock{ahead: d.state.Ahead}
	goesOn := d.state.Loaded && !d.verb.Fresh && d.verb.At == "" && civil.DateOf(old.Now(), loc) == d.state.Day
	if goesOn {
		d.now, d.day = old.Now, d.state.Day
		return nil
	}
	d.now, d.day = begun.Now, day
	d.state = demoState{Ahead: begun.ahead, Day: day}
	return nil
}

// statePath is beside the private database, or among the user's settings when
// the database is somebody else's.
func (d *demo) statePath() (string, error) {
	if d.db.private != nil {
		return filepath.Join(d.db.private.Dir, "demo.json"), nil
	}
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("find a place for what the demo remembers: %w", err)
	}
	dir = filepath.Join(dir, "toeboard")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", fmt.Errorf("make a place for what the demo remembers: %w", err)
	}
	sum := sha256.Sum256([]byte(d.db.url))
	return filepath.Join(dir, "demo-"+hex.EncodeToString(sum[:4])+".json"), nil
}

// print writes what the demo is there to show.
func (d *demo) print(ctx context.Context, w io.Writer) error {
	firm := d.state.Firm
	plan, err := d.schedule.CurrentPlan(ctx, firm)
	if err != nil {
		return err
	}
	snap, err := d.schedule.Snapshot(ctx, firm, d.now(), plan.FirstDay, plan.Days)
	if err != nil {
		return err
	}
	bookings, err := d.schedule.Bookings(ctx, firm)
	if err != nil {
		return err
	}
	mornings, err := d.service.Mornings(ctx, firm, d.day)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "%s, an invented firm. The demo's clock started at 07:15 on %s and runs.\n", snap.Firm.Name, d.day.Long())
	printPlan(w, snap, plan, demoDays)
	printReplay(w, snap, plan, true)
	printBookings(w, snap, bookings)
	printMornings(w, d.day, mornings)
	d.printDoors(w)
	return nil
}

// printDoors writes the addresses and sign-ins.
func (d *demo) printDoors(w io.Writer) {
	if d.verb.Once {
		fmt.Fprintf(w, "\nOnce served (start again without --once), open %s\n\n", d.base)
	} else {
		fmt.Fprintf(w, "\nOpen %s\n\n", d.base)
	}
	fmt.Fprintf(w, "office      %s/          imogen@quillmere.example   password %s\n", d.base, d.state.Password)
	fmt.Fprintf(w, "crew leads  %s/morning   rhodri@, saoirse@, joss@, callum@ or anwen@quillmere.example, the same password\n", d.base)
	fmt.Fprint(w, "signing     each with their own PIN:")
	for i, p := range d.state.PINs {
		if i%4 == 0 {
			fmt.Fprint(w, "\n           ")
		}
		fmt.Fprintf(w, " %s %s,", p.Name, p.PIN)
	}
	fmt.Fprintln(w, " set anew on", d.base+"/people")
	fmt.Fprintf(w, "mails       written to %s, a file each; %s/messages lists them\n", d.mails, d.base)
	for _, l := range d.state.Links {
		fmt.Fprintf(w, "scaffold    %s, no sign-in:\n            page     %s/scaffold/%s\n            calendar %s/feeds/%s.ics\n",
			l.ScaffoldFirm, d.base, l.Token, d.base, api.FeedToken(l.Token))
	}
}

// serve serves, runs the rounds and works the queue until ctx ends or the
// database is lost.
func (d *demo) serve(ctx context.Context, l net.Listener) error {
	stopWork, err := d.service.Work()
	if err != nil {
		return err
	}
	defer stopWork()
	stop, err := rounds{rooms: d.rooms, fetch: d.fetch, log: d.log, only: d.state.Firm}.start(ctx)
	if err != nil {
		return err
	}
	defer stop()
	return serveUntilLost(ctx, d.db, l, d.service.Handler(), d.log)
}

// newToken gives a secret of 160 bits that survives being read out.
func newToken() string {
	b := make([]byte, 20)
	rand.Read(b) // never fails: the program ends if the system has no randomness
	return hex.EncodeToString(b)
}
