package weather

import (
	"fmt"
	"math"

	"toeboard/weather/fault"
)

// Panel is a module as the wind meets it while it is carried.
type Panel struct {
	WidthM   float64 `json:"width_m"`  // [m] either side first
	HeightM  float64 `json:"height_m"` // [m]
	Handlers int     `json:"handlers"` // people who carry it together
	Cd       float64 `json:"cd"`       // drag coefficient square to the wind; 0: by the sides' ratio

	UsualSides bool `json:"usual_sides,omitempty"` // the sides are assumed; only their product is known
}

// usualWidth is a module's shorter side where only its area is known [m]
// (common practice, no source: most modules of 1.7 to 2.7 m2 are this wide).
const usualWidth = 1.134

// PanelOfArea is a module of which only the area [m²] is known. The drag rests
// on the area; the sides only choose the drag coefficient.
func PanelOfArea(m2 float64, handlers int) Panel {
	return Panel{WidthM: usualWidth, HeightM: m2 / usualWidth, Handlers: handlers, UsualSides: true}
}

// size names the module by what is known of it.
func (p Panel) size() string {
	if p.UsualSides {
		return fmt.Sprintf("%.2f m²", p.WidthM*p.HeightM)
	}
	return fmt.Sprintf("%.2f x %.2f m", p.WidthM, p.HeightM)
}

// ReferencePanel stands in where nobody said which module comes: larger than
// most that two people carry to a house roof (firm's own rule).
func ReferencePanel() Panel { return Panel{WidthM: 1.134, HeightM: 2.278, Handlers: 2} }

// airDensity of dry air at 15 C and sea level (ISO 2533) [kg/m³].
const airDensity = 1.225

// What one person may push or pull before the guidance asks for a closer look
// (Health and Safety Executive, L23 and INDG143, whole-body pushing and
// pulling): about 200 N for men and 150 N for women to start or stop a load,
// 100 N and 70 N to keep it moving. The lower figures are used for all. It is a
// screening filter on an even floor and not a limit; a roof is no even floor.
const (
	startForce = 150.0 // [N]
	keepForce  = 70.0  // [N]
)

// PanelLimit says from which gust at the working height a module becomes too
// much for the people who carry it.
type PanelLimit struct {
	Caution float64 // [m/s] the drag reaches what they can keep up
	Stop    float64 // [m/s] the drag reaches what they can start or stop
	AreaM2  float64
	Cd      float64
	Sum     string // the calculation for Stop, for a person to check
}

// PanelWindLimit computes the limit from the drag 1/2 rho Cd A V² of a plate
// held square to the wind. The force of a team is not the sum: two people have
// two thirds of it, three or more a half (the guidance's rule for team lifts).
func PanelWindLimit(p Panel) (PanelLimit, error) {
	side := func(m float64) bool { return m >= 0.1 && m <= 5 }
	if !side(p.WidthM) || !side(p.HeightM) {
		return PanelLimit{}, fault.Bad("module", fmt.Sprintf("%v x %v m", p.WidthM, p.HeightM), "sides of 0.1 to 5 m")
	}
	if p.Handlers < 1 || p.Handlers > 4 {
		return PanelLimit{}, fault.Bad("handlers", fmt.Sprint(p.Handlers), "1 to 4 people")
	}
	if p.Cd != 0 && !(p.Cd >= 1 && p.Cd <= 2.5) {
		return PanelLimit{}, fault.Bad("drag coefficient", fmt.Sprint(p.Cd), "1.0 to 2.5 for a flat plate")
	}
	l := PanelLimit{AreaM2: p.WidthM * p.HeightM, Cd: p.Cd}
	if l.Cd == 0 {
		l.Cd = plateDrag(math.Max(p.WidthM, p.HeightM) / math.Min(p.WidthM, p.HeightM))
	}
	people := float64(p.Handlers) * teamShare(p.Handlers)
	gustFor := func(force float64) float64 { return math.Sqrt(2 * force / (airDensity * l.Cd * l.AreaM2)) }
	l.Caution, l.Stop = gustFor(keepForce*people), gustFor(startForce*people)
	l.Sum = fmt.Sprintf("1/2 x %.3f kg/m³ x Cd %.2f x %.2f m² x (%.1f m/s)² = %.0f N = %s",
		airDensity, l.Cd, l.AreaM2, l.Stop, startForce*people, shareInWords(p.Handlers))
	return l, nil
}

// Carrying is the wind that stops the carrying of one module: the firm's own
// limit and what the drag on that module allows, of which the lower counts.
type Carrying struct {
	Module  string     // "module of 1.95 m²", or that it is not named
	Firm    Limit      // the firm's row for the gust while carrying
	Panel   PanelLimit // computed for this module
	Caution float64    // [m/s] gust at the working height
	Stop    float64    // [m/s]
}

// CarryingLimit gives the wind that stops carrying a module; nil takes
// ReferencePanel. Without a gust limit of the firm's there is none.
func CarryingLimit(l Limits, panel *Panel) (Carrying, error) {
	row, ok := l.find(PanelCarrying, WindGust)
	if !ok || !row.Stop.Known {
		return Carrying{}, fault.Bad("limits", PanelCarrying.String(), "a stop level for "+WindGust.String())
	}
	c := Carrying{Firm: row, Module: "module not named, taken as " + ReferencePanel().size()}
	p := ReferencePanel()
	if panel != nil {
		p = *panel
		c.Module = "module of " + p.size()
	}
	var err error
	if c.Panel, err = PanelWindLimit(p); err != nil {
		return Carrying{}, err
	}
	c.Stop, c.Caution = min(row.Stop.N, c.Panel.Stop), c.Panel.Caution
	if row.Caution.Known {
		c.Caution = min(row.Caution.N, c.Panel.Caution)
	}
	return c, nil
}

// Sentence tells the limit with its sum, and which of the two counts.
func (c Carrying) Sentence() string {
	counts := "the module's"
	if c.Firm.Stop.N < c.Panel.Stop {
		counts = "the firm's"
	}
	return fmt.Sprintf("Carrying stops at a gust of %.1f m/s: the lower of the firm's %.4g m/s and, for a %s, %.1f m/s; %s counts. The sum: %s, the guideline force for pushing and pulling",
		c.Stop, c.Firm.Stop.N, c.Module, c.Panel.Stop, counts, c.Panel.Sum)
}

// Drag gives the force [N] of a gust [m/s] on the module held square to it.
func (l PanelLimit) Drag(gust float64) float64 {
	return airDensity / 2 * l.Cd * l.AreaM2 * gust * gust
}

func teamShare(handlers int) float64 {
	switch handlers {
	case 1:
		return 1
	case 2:
		return 2.0 / 3
	default:
		return 1.0 / 2
	}
}

func shareInWords(handlers int) string {
	switch handlers {
	case 1:
		return fmt.Sprintf("%.0f N of one person to start or stop a load", startForce)
	case 2:
		return fmt.Sprintf("two thirds of 2 x %.0f N to start or stop a load", startForce)
	default:
		return fmt.Sprintf("half of %d x %.0f N to start or stop a load", handlers, startForce)
	}
}

// plateDrag gives the drag coefficient of a flat plate square to the wind by
// the ratio of its sides: 1.17 for a square and 1.98 for an endless strip
// (engineers' data books); the points between are from memory, to be checked.
func plateDrag(ratio float64) float64 {
	points := [...]struct{ ratio, cd float64 }{{1, 1.17}, {5, 1.20}, {10, 1.30}, {20, 1.50}}
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if ratio <= b.ratio {
			return a.cd + (b.cd-a.cd)*(ratio-a.ratio)/(b.ratio-a.ratio)
		}
	}
	last := points[len(points)-1]
	return 1.98 - (1.98-last.cd)*last.ratio/ratio
}
