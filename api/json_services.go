package api

import (
	"context"

	"github.com/google/uuid"

	"toeboard/weather"
)

// GetWeatherServices gives which weather services count for the firm.
func (j *jsonServer) GetWeatherServices(ctx context.Context, _ GetWeatherServicesRequestObject) (GetWeatherServicesResponseObject, error) {
	v, err := j.servicesView(ctx, callerOf(ctx).Firm)
	return GetWeatherServices200JSONResponse(v), err
}

// SetWeatherServices stores which weather services count as the next version.
func (j *jsonServer) SetWeatherServices(ctx context.Context, r SetWeatherServicesRequestObject) (SetWeatherServicesResponseObject, error) {
	c := callerOf(ctx)
	want := weather.Services{Version: r.Body.Version, Order: r.Body.Order, Together: weather.Together(r.Body.Together)}
	if _, err := j.SetServices(ctx, c.Firm, want, c.Name, r.Body.Why); err != nil {
		return nil, err
	}
	v, err := j.servicesView(ctx, c.Firm)
	return SetWeatherServices200JSONResponse(v), err
}

func (j *jsonServer) servicesView(ctx context.Context, firm uuid.UUID) (WeatherServicesInForce, error) {
	in, err := j.servicesInForce(ctx, firm)
	if err != nil {
		return WeatherServicesInForce{}, err
	}
	v := WeatherServicesInForce{Version: in.Version, Order: mapped(in.Order, same), Together: WeatherServicesTogether(in.Together), Sentence: j.usedWords(in.Services),
		Services: []WeatherServiceView{}, History: []WeatherServicesVersion{}}
	for i, o := range j.offered {
		v.Services = append(v.Services, WeatherServiceView{Key: o.Key, Name: o.Provider, Note: o.Note, Closed: optionalText(o.Closed),
			LastAnswered: optionalTime(in.heard[i].Last), SitesKept: in.heard[i].Sites})
	}
	for i, set := range in.set {
		v.History = append(v.History, WeatherServicesVersion{Version: set.Version, Order: set.Order, Together: WeatherServicesTogether(set.Together),
			SetBy: set.SetBy, SetAt: set.SetAt, Why: set.Why, Changes: mapped(j.servicesChanges(in, i), same)})
	}
	return v, nil
}
