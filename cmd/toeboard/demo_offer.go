package main

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"toeboard/api"
	"toeboard/schedule"
	"toeboard/weather/civil"
)

// holdOffer tells an invented customer the cheapest place for a roof near the
// firm's yard, and holds it for them.
func (d *demo) holdOffer(ctx context.Context, firm uuid.UUID, by string) error {
	ask := api.OfferAsk{Postcode: "near the yard", Lat: baseLat + 0.02, Lon: baseLon - 0.03, Terrain: "III", HeightM: 6, Modules: 10, ModuleM2: 1.95, Best: 1,
		ReadyOn: civil.NoDate, HalfDays: map[schedule.StageKind]int{schedule.ScaffoldErection: 1, schedule.RoofWork: 3, schedule.FirstFix: 1,
			schedule.SecondFix: 1, schedule.Commissioning: 1, schedule.ScaffoldStrike: 1}}
	found, err := d.service.FindOffers(ctx, firm, ask)
	if err != nil {
		return fmt.Errorf("find a place for a new job: %w", err)
	}
	if len(found.Offers) == 0 {
		return nil // a full plan is a fact too
	}
	_, err = d.service.HoldOffer(ctx, firm, api.HoldAsk{ID: newID(), For: "Mrs Ferrier, who rang", Contact: "01632 960147", Question: ask, On: found.Offers[0].On}, by)
	if err != nil {
		return fmt.Errorf("hold a place: %w", err)
	}
	return nil
}
