// Package openmeteo reads and fetches the forecasts of Open-Meteo: one run or
// an ensemble, one place or several.
//
// The free service is for non-commercial use and allows 600 requests a minute,
// 5,000 an hour and 10,000 a day; a firm that earns money with it needs their
// commercial offer and its address in Client.BaseURL. The data are CC BY 4.0
// and must be shown with Attribution.
package openmeteo

// Provider is the name under which series and stored answers go.
const Provider = "Open-Meteo"

// Attribution is the line that must stand where the data are shown.
const Attribution = "Weather data by Open-Meteo.com, CC BY 4.0"

// Composed is the provider's name for an answer in this shape that says of
// itself that it is synthetic: nobody forecast it and nobody may rely on it.
const Composed = "composed weather (no real forecast)"
