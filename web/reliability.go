package web

import (
	"fmt"
	"math"
)

// A reliability diagram: to the right what was said, upwards how often the work
// then ran. It is drawn in a box of its own units that scales with the page.
const (
	reliabilityLeft = 34.0  // of the plot
	reliabilityTop  = 10.0  // of the plot
	reliabilitySide = 200.0 // of the plot, both ways
)

// reliabilityPoint is a bin as it is drawn.
type reliabilityPoint struct {
	ReliabilityBin
	X, Y, LowY, HighY float64
	LabelX, LabelY    float64
}

// Points gives the bins as they are drawn.
func (l LeadRecord) Points() (points []reliabilityPoint) {
	y := func(share float64) float64 { return reliabilityTop + reliabilitySide*(1-min(1, max(0, share))) }
	for _, b := range l.Bins {
		p := reliabilityPoint{ReliabilityBin: b, X: reliabilityLeft + reliabilitySide*min(1, max(0, b.Said)), Y: y(b.Ran), LowY: y(b.Low), HighY: y(b.High)}
		p.LabelX, p.LabelY = p.X, p.HighY-6
		if p.LabelY < reliabilityTop+8 {
			p.LabelY = p.LowY + 16
		}
		points = append(points, p)
	}
	return points
}

// Triangle is the path of a point that lies off what was said: its tip shows to
// where it lies.
func (p reliabilityPoint) Triangle() string {
	tip := -7.0 // ran more often: up
	if p.Ran < p.Said {
		tip = 7
	}
	return fmt.Sprintf("M%.1f %.1fl7 %.1fh-14z", p.X, p.Y+tip, -2*tip)
}

// AsSaid tells whether what was said lies in the interval of what happened.
func (b ReliabilityBin) AsSaid() bool { return b.Said >= b.Low && b.Said <= b.High }

// Word is what became of what was said.
func (b ReliabilityBin) Word() string {
	switch {
	case b.AsSaid():
		return "as said"
	case b.Ran < b.Said:
		return "ran less often"
	default:
		return "ran more often"
	}
}

// SaidWords is what was said: "70 to 80 %".
func (b ReliabilityBin) SaidWords() string {
	return fmt.Sprintf("%s to %s", wholePercent(b.From), wholePercent(b.To))
}

// RanWords is what then happened, with its interval.
func (b ReliabilityBin) RanWords() string {
	return fmt.Sprintf("%s (90 %% interval %s to %s)", wholePercent(b.Ran), wholePercent(b.Low), wholePercent(b.High))
}

func wholePercent(share float64) string {
	return fmt.Sprintf("%d\u00a0%%", int(math.Round(100*share)))
}

// Name is the diagram's name on its page.
func (l LeadRecord) Name() string { return fmt.Sprintf("lead%d", l.Days) }

// Ahead says how far ahead the chances were given.
func (l LeadRecord) Ahead() string {
	switch l.Days {
	case 0:
		return "The same day"
	case 1:
		return "One day ahead"
	default:
		return fmt.Sprintf("%d days ahead", l.Days)
	}
}

// Says is the diagram in a sentence or two.
func (l LeadRecord) Says() string {
	as := 0
	for _, b := range l.Bins {
		if b.AsSaid() {
			as++
		}
	}
	says := fmt.Sprintf("%s: %d of %s ran as often as was said.", l.Ahead(), as, count(len(l.Bins), "group of chances", "groups of chances"))
	if l.Keep.Known {
		says += fmt.Sprintf(" %s of a chance’s distance from the climate is kept.", wholePercent(l.Keep.N))
	}
	return says
}
