package safety

import (
	_ "embed"
	"math"
	"slices"
)

// Lift is one lifting task as the revised NIOSH lifting equation sees it
// (publication 94-110, 1994, revised 2021). It is for two hands on an even
// floor: not for ladders, roofs, slippery ground, team lifts or seated work.
type Lift struct {
	H        float64 // [cm] from the ankles' middle to the hands
	V        float64 // [cm] of the hands above the floor
	D        float64 // [cm] that the load is raised or lowered
	A        float64 // [degrees] that the body is turned
	PerMin   float64 // lifts a minute
	Hours    float64 // that it goes on, 1, 2 or 8
	Coupling string  // of hands and load: good, fair, poor
}

// nioshUnits are the constants of the equation in one system of units. The
// metric ones are rounded by the publication, so that the two differ a little.
type nioshUnits struct {
	load             float64 // the load constant
	reach            float64 // H at which HM is 1
	reachMost        float64
	height, perUnit  float64 // V at which VM is 1, and its fall per unit
	heightMost       float64
	travelFrom       float64 // D under which DM is 1
	travelMost, over float64 // DM = 0.82 + over/D
}

var (
	metricNIOSH   = nioshUnits{load: 23, reach: 25, reachMost: 63, height: 75, perUnit: 0.003, heightMost: 175, travelFrom: 25, travelMost: 175, over: 4.5}
	imperialNIOSH = nioshUnits{load: 51, reach: 10, reachMost: 25, height: 30, perUnit: 0.0075, heightMost: 70, travelFrom: 10, travelMost: 70, over: 1.8}
)

//go:embed niosh_fm.csv
var nioshFM string

// nioshRow is one row of the table of frequency multipliers: for up to 1, 2 and
// 8 hours, each with the hands low (V under 75 cm) and high.
type nioshRow struct {
	perMin float64
	fm     [6]float64
}

var nioshRows = readNIOSH(nioshFM)

func readNIOSH(text string) []nioshRow {
	var all []nioshRow
	for _, r := range ownRows("niosh_fm.csv", text) {
		row := nioshRow{perMin: mustFloat(r[0])}
		for i := range row.fm {
			row.fm[i] = mustFloat(r[i+1])
		}
		all = append(all, row)
	}
	return all
}

// frequency gives FM: the row of the next higher rate counts. ok is false for
// a duration that the table does not have.
func (u nioshUnits) frequency(l Lift) (fm float64, ok bool) {
	col := map[float64]int{1: 0, 2: 2, 8: 4}
	at, known := col[l.Hours]
	if !known || !(l.PerMin >= 0) {
		return 0, false
	}
	if l.V >= u.height {
		at++
	}
	i := slices.IndexFunc(nioshRows, func(r nioshRow) bool { return l.PerMin <= r.perMin })
	if i < 0 {
		return 0, true
	}
	return nioshRows[i].fm[at], true
}

// coupling gives CM; ok is false for a word that the equation does not have.
func (u nioshUnits) coupling(l Lift) (cm float64, ok bool) {
	high := l.V >= u.height
	switch {
	case l.Coupling == "good" || l.Coupling == "fair" && high:
		return 1, true
	case l.Coupling == "fair":
		return 0.95, true
	case l.Coupling == "poor":
		return 0.9, true
	}
	return 0, false
}

// RWL is the recommended weight limit [kg], H, V and D in cm:
// 23 x 25/H x (1 - 0.003|V-75|) x (0.82 + 4.5/D) x (1 - 0.0032A) x FM x CM
// (NIOSH 94-110, equation 1, metric). It is 0 outside the equation's reach. ok
// is false when a number or word cannot be one of a lift.
func (l Lift) RWL() (kg float64, ok bool) { return metricNIOSH.rwl(l) }

// RWLPounds is RWL in lb with H, V and D in inches: 51 x 10/H x
// (1 - 0.0075|V-30|) x (0.82 + 1.8/D) and the rest alike.
func (l Lift) RWLPounds() (lb float64, ok bool) { return imperialNIOSH.rwl(l) }

func (u nioshUnits) rwl(l Lift) (float64, bool) {
	fm, ok1 := u.frequency(l)
	cm, ok2 := u.coupling(l)
	if !ok1 || !ok2 || !(l.H > 0) || !(l.V >= 0) || !(l.D >= 0) || !(l.A >= 0) || math.IsInf(l.H+l.V+l.D+l.A, 0) {
		return 0, false
	}
	if l.H > u.reachMost || l.V > u.heightMost || l.D > u.travelMost || l.A > 135 {
		return 0, true
	}
	hm, dm := 1.0, 1.0
	if l.H > u.reach {
		hm = u.reach / l.H
	}
	if l.D > u.travelFrom {
		dm = 0.82 + u.over/l.D
	}
	vm := 1 - u.perUnit*math.Abs(l.V-u.height)
	return u.load * hm * vm * dm * (1 - 0.0032*l.A) * fm * cm, true
}
