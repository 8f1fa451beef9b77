package main

import (
	"context"
	"fmt"
	"os"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

type firmVerb struct {
	Name     string  `arg:"" help:"The firm's name."`
	Person   string  `help:"Name of the person in the office who signs in first." required:""`
	Email    string  `help:"Their e-mail address." required:""`
	Zone     string  `help:"Time zone (IANA)." default:"Europe/London"`
	Division string  `help:"Whose bank holidays: england-and-wales, scotland or northern-ireland." enum:"england-and-wales,scotland,northern-ireland" default:"england-and-wales"`
	Lat      float64 `help:"Latitude of the yard [degrees]." required:""`
	Lon      float64 `help:"Longitude of the yard [degrees]." required:""`
}

// Run adds a firm with start values for hours, rates and holidays, and prints
// the first sign-in with a password made for it.
func (v firmVerb) Run(ctx context.Context, s *Settings) error {
	log := s.logger(os.Stderr)
	f := schedule.Firm{ID: newID(), Name: v.Name, TimeZone: v.Zone, Division: v.Division, Hours: civil.UsualHours,
		Rates: schedule.DefaultRates(), BaseLat: v.Lat, BaseLon: v.Lon}
	if _, err := f.Location(); err != nil || v.Zone == "" || v.Zone == "Local" {
		return fault.Bad("--zone", v.Zone, "an IANA time zone such as Europe/London")
	}
	holidays, err := schedule.BankHolidays(v.Division)
	if err != nil {
		return err
	}
	db, err := openDatabase(ctx, s, "toeboard", quiet(s))
	if err != nil {
		return err
	}
	defer closeAll(log, db)
	r, err := wire(db, now, s.PublicURL, log)
	if err != nil {
		return err
	}
	if err := r.schedule.CreateFirm(ctx, f, holidays); err != nil {
		return err
	}
	p := schedule.Person{ID: newID(), Name: v.Person, Role: schedule.Office, Active: true}
	if err := r.schedule.SavePerson(ctx, f.ID, p); err != nil {
		return err
	}
	password := newToken()[:16]
	if err := r.service.SetPassword(ctx, f.ID, p.ID, v.Email, password); err != nil {
		return err
	}
	fmt.Printf("firm %s is %s\nsign in as %s with the password %s\n", f.Name, f.ID, v.Email, password)
	return nil
}

// whichFirm finds the firm a command is for: the only one, or the one named by
// its identifier.
func whichFirm(ctx context.Context, store *schedule.Store, named string) (uuid.UUID, error) {
	if named != "" {
		id, err := uuid.Parse(named)
		if err != nil {
			return uuid.Nil, fault.Bad("--firm", named, "the firm's identifier, as 'toeboard firm' printed it")
		}
		_, err = store.Firm(ctx, id)
		return id, err
	}
	firms, err := store.Firms(ctx)
	if err != nil {
		return uuid.Nil, err
	}
	switch len(firms) {
	case 0:
		return uuid.Nil, fault.Missing("firm", "in this database: add one with 'toeboard firm'")
	case 1:
		return firms[0].ID, nil
	}
	return uuid.Nil, fault.Bad("--firm", "", fmt.Sprintf("name one of the %d firms in this database", len(firms)))
}
