package main

import (
	"context"
	"fmt"

	"toeboard/migrations"
	"toeboard/weather/fault"
)

type migrateVerb struct {
	Down bool `help:"Take every migration back; the data goes with it. Needs --yes."`
	Yes  bool `help:"Confirm --down."`
}

// Run brings the named database to this program's schema, or takes it all back.
func (v migrateVerb) Run(ctx context.Context, s *Settings) error {
	if s.DatabaseURL == "" {
		return fault.Bad("DATABASE_URL", "", "name the database; a private one is migrated by serve and demo themselves")
	}
	if v.Down {
		if !v.Yes {
			return fault.Bad("--down", "without --yes", "this removes every table with its data: add --yes if that is meant")
		}
		return migrations.Down(ctx, s.DatabaseURL)
	}
	if err := migrations.Up(ctx, s.DatabaseURL); err != nil {
		return err
	}
	fmt.Println("the schema is current")
	return nil
}
