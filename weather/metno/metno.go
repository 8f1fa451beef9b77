// Package metno reads and fetches Locationforecast 2.0 of MET Norway.
//
// The service asks every caller to identify itself, to ask for at most four
// decimals of a degree, to wait until an answer expires and then to ask whether
// it changed. The data are CC BY 4.0 and must be shown with Attribution.
package metno

// Provider is the name under which series and stored answers go.
const Provider = "MET Norway"

// Attribution is the line that must stand where the data are shown.
const Attribution = "Weather data from MET Norway, CC BY 4.0"
