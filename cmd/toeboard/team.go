package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/fault"
)

type teamVerb struct {
	File        string   `arg:"" help:"A JSON file of the firm's people; testdata/team/example.json is one to start from." type:"existingfile"`
	Firm        string   `help:"The firm's identifier; not needed when there is only one." placeholder:"ID"`
	Apply       bool     `help:"Save what the file says; otherwise only say what would be added or changed."`
	NewLinks    bool     `help:"Make new private addresses for the file's scaffold firms and take the old ones back."`
	NewPassword []string `help:"Give this person of the file a new password; may be given several times." placeholder:"NAME"`
}

// Help says what the file holds.
func (teamVerb) Help() string {
	return `The file is one JSON object with these lists, each of which may be left out. Whoever is known by name is changed to what the file says, whoever is not in the file stays as they are. Days are written as 2026-12-31 and are inclusive; "until" may be left out where something does not end.

people: name, role (office, crew_lead, crew_member), email (to sign in with), phone, active, competences: kind (lead_roof, roof, electrical, scaffold_inspection, first_aid, roof_rescue, lone_work), from, until, evidence

crews: name, trade (roof, electrical), home_lat, home_lon, half_day_cost_pounds, active, members: person, lead, from, until

absences: person, from, until, reason

scaffold_firms: name, email, phone, gangs_per_day, sets, erect_notice_working_days, strike_notice_working_days, erect_and_strike_pounds, included_weeks, weekly_hire_pounds, active, days_off (of monday to friday: the days on which its gangs do not work; left out = none), yard_lat, yard_lon and reach_km (great circle from its yard; left out = anywhere), cancel_notice_working_days and cancel_pounds (for an agreed visit that is moved or called off within the notice; left out = no charge), gust_limit_ms (from which on it neither erects nor strikes; left out = the firm's own limits alone)

holidays: day, title`
}

// Run says what the file would add and change, and with --apply saves it. The
// whole file is read and held against what is known before anything is saved.
func (v teamVerb) Run(ctx context.Context, s *Settings) error {
	log := s.logger(os.Stderr)
	file, err := os.Open(v.File)
	if err != nil {
		return err
	}
	defer file.Close()
	wanted, err := readTeam(file)
	if err != nil {
		return refuse(os.Stderr, v.File, err)
	}
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return err
	}
	defer closeAll(log, db)
	base := s.PublicURL
	if base == "" {
		base = "http://" + s.Listen
	}
	r, err := wire(db, now, base, log)
	if err != nil {
		return err
	}
	firm, err := whichFirm(ctx, r.schedule, v.Firm)
	if err != nil {
		return err
	}
	t, err := newTeamChange(ctx, r, firm, os.Stdout)
	if err != nil {
		return err
	}
	steps, err := t.steps(wanted, v.NewLinks, v.NewPassword)
	if err != nil {
		return refuse(os.Stderr, v.File, err)
	}
	return v.take(ctx, steps, os.Stdout)
}

// take says each step, and with --apply does it.
func (v teamVerb) take(ctx context.Context, steps []step, w io.Writer) error {
	for i, st := range steps {
		fmt.Fprintln(w, st.says)
		if !v.Apply {
			continue
		}
		if err := st.do(ctx); err != nil {
			return fmt.Errorf("%s: %w; %d of %d steps are saved, and the same command again takes the rest", st.says, err, i, len(steps))
		}
	}
	switch {
	case len(steps) == 0:
		fmt.Fprintln(w, "Nothing to add or change.")
	case v.Apply:
		fmt.Fprintln(w, "\nSaved. Passwords and private addresses are told only here: hand them on now.")
	default:
		fmt.Fprintln(w, "\nNothing was saved: add --apply to save it.")
	}
	return nil
}

// step is one thing that is added or changed.
type step struct {
	says string
	do   func(context.Context) error
}

// signIn gives a person a password and tells it.
func (t *teamChange) signIn(p teamPerson) func(context.Context) error {
	return func(ctx context.Context) error {
		password := newToken()[:16]
		if err := t.service.SetPassword(ctx, t.firm, p.ID, p.email, password); err != nil {
			return err
		}
		_, err := fmt.Fprintf(t.tell, "    signs in as %s with the password %s\n", p.email, password)
		return err
	}
}

// link makes a scaffold firm's private addresses, takes the old ones back and
// tells the new.
func (t *teamChange) link(f schedule.ScaffoldFirm) func(context.Context) error {
	return func(ctx context.Context) error {
		if err := t.revoke(ctx, f.ID); err != nil {
			return err
		}
		made, err := t.service.NewLink(ctx, t.firm, f.ID, time.Time{}, "the command team")
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(t.tell, "    page  %s\n    feed  %s\n", made.Page, made.Feed)
		return err
	}
}

func (t *teamChange) revoke(ctx context.Context, scaffoldFirm uuid.UUID) error {
	for _, l := range t.links[scaffoldFirm] {
		if !l.Opens(now()) {
			continue
		}
		if err := t.schedule.RevokeLink(ctx, t.firm, l.ID, now()); err != nil {
			return err
		}
	}
	return nil
}

// hasLink tells whether a scaffold firm has both its page and its feed.
func (t *teamChange) hasLink(scaffoldFirm uuid.UUID) bool {
	has := map[schedule.Purpose]bool{}
	for _, l := range t.links[scaffoldFirm] {
		if l.Opens(now()) {
			has[l.Purpose] = true
		}
	}
	return has[schedule.ForPage] && has[schedule.ForFeed]
}

// twoOf refuses a name under which two are known already.
func twoOf(what, name string) error {
	return fault.Changed(what, name, "two are known under this name, so the file cannot say which is meant: rename one first")
}
