// Package weather turns forecasts into answers a roof crew can rely on: hour by
// hour go, caution, stop or unknown for one task at one place, and honest
// chances for half-days weeks ahead, each with its reason. It knows no clock, no
// network and no database: data in, data out. Whatever is not known stays
// unknown, and unknown is never go.
//
// What stands where:
//
//	series.go     a forecast: futures of hours, each value with the time it is for
//	openmeteo,
//	metno         readers and clients of two services; manners is how they behave
//	geohours,
//	csvhours      readers of hourly site forecasts and of tables of hours
//	cap           reader of official warnings
//	composed      made-up weather for a demonstration without a network
//	beside.go     several services at once: the worse counts
//	terrain.go,
//	place.go      wind from 10 m in the open to the work, after EN 1991-1-4
//	gust.go       a gust for forecasts that give none
//	limits.go     the firm's limits as versioned data, limits.csv the first version
//	panel.go      how much wind a module in hand allows
//	rules.go      limits made ready for one place and task
//	judge.go      the verdict on a window, with every reason
//	windows.go    when it can be done, when it turns and when it turns back
//	hindcast.go,
//	lesson.go     what kept forecasts were worth, and what that teaches
//	chance.go     the chance that a window runs; outlook.go the same for many
//	climate.go    what lies behind the forecast's horizon, climate.csv counted
//	sun.go,
//	daylight.go   sunrise, dusk and what they leave of a half-day
//	sunahead.go   low sun in the eyes of a crew on a roof face
//	frost.go      a declared estimate of frost on the roof
//	roofstate.go  a declared balance of the water on it
//	lightning.go  the clock that thunder starts
//	feel.go       how hot or cold it feels
//	warning.go    official warnings: which are in force, where, and what they do
//	table.go      a verdict table to print
package weather
