package safety

import (
	"fmt"
	"math"
)

// The sums here are for planning. They say what published guidance says of
// plain cases; a competent person decides of this one.

// TeamCapacity gives what a team may lift together [kg] as a screening filter:
// one person their own filter weight, two people two thirds of the sum, three
// people half of it (published guidance). ok is false for other teams, which
// the guidance does not cover.
func TeamCapacity(filtersKg ...float64) (kg float64, ok bool) {
	sum := 0.0
	for _, f := range filtersKg {
		if !(f > 0) {
			return 0, false
		}
		sum += f
	}
	switch len(filtersKg) {
	case 1:
		return sum, true
	case 2:
		return sum * 2 / 3, true
	case 3:
		return sum / 2, true
	default:
		return 0, false
	}
}

// liftZone is a height of the hands with the filter weights of one man and one
// woman there, close to the body and with arms extended [kg] (HSE L23 / INDG143,
// from memory but for one: check against the original). Ladders and slopes are
// not covered.
type liftZone struct {
	name       string
	man, woman [2]float64 // close, extended
}

var liftZones = []liftZone{
	{"shoulder to head and above", [2]float64{10, 5}, [2]float64{7, 3}},
	{"elbow to shoulder", [2]float64{20, 10}, [2]float64{13, 7}},
	{"knuckle to elbow", [2]float64{25, 15}, [2]float64{16, 10}},
	{"mid lower leg to knuckle", [2]float64{20, 10}, [2]float64{13, 7}},
	{"floor to mid lower leg", [2]float64{10, 5}, [2]float64{7, 3}},
}

// LiftZones names the heights of the hands that the filter tells apart, from the
// highest down.
func LiftZones() []string {
	var all []string
	for _, z := range liftZones {
		all = append(all, z.name)
	}
	return all
}

// LiftFilter gives one person's filter weight [kg]; ok is false for a zone that
// the figure does not have.
func LiftFilter(zone string, man, extended bool) (kg float64, ok bool) {
	reach := 0
	if extended {
		reach = 1
	}
	for _, z := range liftZones {
		if z.name == zone {
			if man {
				return z.man[reach], true
			}
			return z.woman[reach], true
		}
	}
	return 0, false
}

// teamFilters lists the filter weights of a team at one height.
func teamFilters(men, women int, zone, reach string) []float64 {
	var all []float64
	for i := range men + women {
		kg, _ := LiftFilter(zone, i < men, reach == "extended")
		all = append(all, kg)
	}
	return all
}

// platformZone is how a module is held on a platform.
const platformZone = "elbow to shoulder"

// LadderFor gives how far out the foot of a leaning ladder stands [m] and how
// long the ladder is at least [m] for a landing at a height [m]: 1 out to 4 up,
// and 1 m above the landing (HSE ladder guidance).
func LadderFor(landingM float64) (footM, lengthM float64) {
	return landingM / 4, (landingM + 1) * math.Sqrt(17) / 4
}

// Fall is what a fall into a lanyard with an energy absorber adds up to [m],
// each by the maker's own figures: published sums differ.
type Fall struct {
	Lanyard   float64 // its length
	Extension float64 // of the absorber; EN 355 allows 1.75 m
	Body      float64 // from attachment to feet
	Stretch   float64 // of the harness
	Margin    float64 // kept above what is below
}

// Clearance is the height that must be free below the anchor's foot level [m].
// Most eaves are lower than any such sum: then arrest is no answer.
func (f Fall) Clearance() float64 {
	return f.Lanyard + f.Extension + f.Body + f.Stretch + f.Margin
}

const gravity = 9.81 // m/s2

// StackLoad is the load of modules stacked on a part of a platform [kN/m2]:
// number, mass of each [kg], width and length of the part [m]. ok is false when
// a number is missing.
func StackLoad(modules int, kgEach, widthM, lengthM float64) (kNm2 float64, ok bool) {
	if modules <= 0 || !(kgEach > 0) || !(widthM > 0) || !(lengthM > 0) {
		return 0, false
	}
	return float64(modules) * kgEach * gravity / 1000 / (widthM * lengthM), true
}

// storesFrom is the first load class of EN 12811-1 on which materials may be
// stored (second-hand: class 2 is not for storing).
const storesFrom = 3

// MayStack tells whether a load class bears a stack, in one sentence. A class
// that is not stated is unknown. A single bay also wants the concentrated load
// checked, by the scaffold's designer.
func MayStack(loadKNm2 float64, class int) (State, string) {
	bears, stated := LoadOfClass(class)
	switch {
	case !stated:
		return Unknown, fmt.Sprintf("%.2f kN/m2 stacked, and the load class is not stated", loadKNm2)
	case class < storesFrom:
		return NotMet, fmt.Sprintf("%.2f kN/m2 stacked, and class %d is not for storing", loadKNm2, class)
	case !(loadKNm2 <= bears):
		return NotMet, fmt.Sprintf("%.2f kN/m2 stacked, class %d bears %g kN/m2", loadKNm2, class, bears)
	}
	return Met, fmt.Sprintf("%.2f kN/m2 stacked of the %g kN/m2 that class %d bears", loadKNm2, bears, class)
}

// sumsFor gives the sums that a job's facts allow, as lines for the assessment.
func sumsFor(f Facts) []Line {
	all := []Line{}
	if kg, known := f["module_kg"]; known && f["roof_work"].Yes {
		men, _ := TeamCapacity(teamFilters(2, 0, platformZone, "close to the body")...)
		women, _ := TeamCapacity(teamFilters(0, 2, platformZone, "close to the body")...)
		says := "inside the filter for any two"
		switch {
		case kg.N > men:
			says = "above it: hoist, or a detailed assessment"
		case kg.N > women:
			says = "between the two: choose who carries, or hoist"
		}
		all = append(all, Line{"Two people, one module", fmt.Sprintf("%.1f kg against a filter of %.1f kg (two women) to %.1f kg (two men), held close, elbow to shoulder, on a level platform: %s", kg.N, women, men, says)})
	}
	if h, known := f["working_height_m"]; known && f["access"].S == "ladder" {
		foot, length := LadderFor(h.N)
		all = append(all, Line{"Leaning ladder", fmt.Sprintf("to a landing at %.1f m: foot %.1f m out (1 in 4), at least %.1f m long (1 m above the landing)", h.N, foot, length)})
	}
	return all
}
