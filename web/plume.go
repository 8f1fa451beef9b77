package web

import (
	"fmt"
	"time"
)

// Plume is what the members of a forecast spread over in the coming days: the
// gust at the work against its limit.
type Plume struct {
	ID      string // unique on the page, letters and digits; "" = "plume"
	Place   string
	LimitMS Num
	Members int
	Steps   []PlumeStep
}

// PlumeStep is one step of a plume.
type PlumeStep struct {
	From              time.Time // in the firm's zone
	Low, Middle, High Num       // [m/s] gust that one, five, nine members in ten do not pass
	Over              Num       // [0..1] share of the members at the limit or above
}

// plumeColumn is one step as it is drawn: x percent of the width, y pixels.
type plumeColumn struct {
	PlumeStep
	X, Mid, Width  float64
	Top, Height    float64 // from the low to the high
	OverTop, OverH float64 // of that, what lies above the limit
	MiddleY        float64
	Day            string // written where a day begins
}

const plumeTopMS = 25.0 // [m/s] at the top edge

const (
	plumeTop    = 6.0   // [px]
	plumeHeight = 120.0 // [px] that stand for plumeTopMS
)

// Name is the plume's name on its page.
func (p Plume) Name() string {
	if p.ID == "" {
		return "plume"
	}
	return p.ID
}

// Bottom is where no wind lies [px].
func (Plume) Bottom() float64 { return plumeTop + plumeHeight }

func (p Plume) y(ms float64) float64 {
	return plumeTop + plumeHeight*(1-min(1, max(0, ms/plumeTopMS)))
}

// LimitY is where the limit's line lies [px].
func (p Plume) LimitY() float64 { return p.y(p.LimitMS.N) }

// LimitMPH is the limit in miles an hour.
func (p Plume) LimitMPH() string { return MPH(p.LimitMS.N) }

// Columns gives the steps as they are drawn.
func (p Plume) Columns() (cols []plumeColumn) {
	w := 100 / float64(max(1, len(p.Steps)))
	for i, s := range p.Steps {
		c := plumeColumn{PlumeStep: s, X: (float64(i) + 0.16) * w, Mid: (float64(i) + 0.5) * w, Width: 0.68 * w}
		if s.High.Known {
			c.Top, c.Height = p.y(s.High.N), max(1.5, p.y(s.Low.N)-p.y(s.High.N))
			c.MiddleY = p.y(s.Middle.N) - 1.25
			if p.LimitMS.Known && s.High.N >= p.LimitMS.N {
				c.OverTop = c.Top
				c.OverH = max(1.5, min(p.LimitY(), p.y(s.Low.N))-c.Top)
			}
		}
		if i == 0 || s.From.YearDay() != p.Steps[i-1].From.YearDay() {
			c.Day = s.From.Format("Mon 2")
		}
		cols = append(cols, c)
	}
	for i := range cols { // a day that has only its last steps here has no room for its name
		if i > 0 && i < 4 && cols[i].Day != "" {
			cols[0].Day = ""
		}
	}
	return cols
}

// Says is the plume in a sentence or two.
func (p Plume) Says() string {
	known := 0
	for _, s := range p.Steps {
		if s.High.Known {
			known++
		}
	}
	switch {
	case known == 0:
		return "The forecast has too few members to show how far they spread."
	case !p.LimitMS.Known:
		return "The limit is not known, so nobody can say how close the gusts come."
	}
	says := p.first("One future in ten passes the limit", 0.1)
	says += " " + p.first("Half of them pass it", 0.5)
	return says
}

// first tells when a share of the members first passes the limit.
func (p Plume) first(what string, share float64) string {
	for _, s := range p.Steps {
		if s.Over.Known && s.Over.N >= share {
			return fmt.Sprintf("%s for the first time on %s from %s.", what, s.From.Format("Mon 2 Jan"), clock(s.From))
		}
	}
	return what + " in none of the steps that are known."
}
