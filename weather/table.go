package weather

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Row is one step of a forecast as a table shows it. Winds are at the place's
// terrain and working height.
type Row struct {
	When    string // "Sat 28 Nov 10:00", in the firm's zone
	Hours   float64
	Mean    Value // [m/s]
	Gust    Value // [m/s]
	Rain    Value // [mm] in the step
	Temp    Value // [degrees C]
	Verdict Verdict
	Why     string // what is not go, with number and limit; empty when nothing is
}

// TableHeader names the columns of Cells.
func TableHeader() []string {
	return []string{"from", "mean m/s", "gust m/s", "rain mm", "air °C", "verdict", "why"}
}

// Cells writes the row in the order of TableHeader. What is not known is "?",
// never a blank or a nought.
func (r Row) Cells() []string {
	when := r.When
	if r.Hours != 1 {
		when += fmt.Sprintf(" (%g h)", r.Hours)
	}
	return []string{when, r.Mean.text(), r.Gust.text(), r.Rain.text(), r.Temp.text(), r.Verdict.String(), r.Why}
}

func (v Value) text() string {
	if !v.Known {
		return "?"
	}
	return fmt.Sprintf("%.1f", v.N)
}

// hundredths writes a limit as people read one: a limit that was worked out, as
// carrying a module's is, has more digits than anybody can measure.
func hundredths(n float64) string {
	return strconv.FormatFloat(math.Round(n*100)/100, 'f', -1, 64)
}

// Table judges every step of a window and gives one row for each, with the
// judgement that they add up to. Indoor work has no rows.
func Table(s Series, l Limits, w Work) ([]Row, Judgement) {
	j := Judge(s, l, w)
	rows := make([]Row, 0, len(j.Steps))
	for _, step := range j.Steps {
		row := Row{When: step.From.In(w.Loc).Format("Mon 2 Jan 15:04"), Hours: step.To.Sub(step.From).Hours(), Verdict: step.Verdict}
		var why []string
		for i, c := range step.Checks {
			level := j.Levels[i]
			switch level.Quantity {
			case WindMean:
				row.Mean = c.Value
			case WindGust:
				row.Gust = c.Value
			case Rain:
				row.Rain = c.Value
			case Temperature:
				row.Temp = c.Value
			}
			if c.Verdict != Go {
				why = append(why, level.against(c))
			}
		}
		row.Why = strings.Join(why, "; ")
		rows = append(rows, row)
	}
	return rows, j
}

// against tells in a few words what a check has against the work.
func (l Level) against(c Check) string {
	limit := l.Stop
	if c.Verdict == Caution && l.Caution.Known {
		limit = l.Caution
	}
	switch {
	case !c.Value.Known:
		return l.Quantity.Name() + " not known"
	case l.Quantity == Lightning:
		return l.Quantity.Name()
	}
	said := fmt.Sprintf("%s %.1f %s (%s at %s", l.Quantity.Name(), c.Value.N, l.Unit, c.Verdict, hundredths(limit.N))
	if c.Estimated {
		said += ", estimated from the mean"
	}
	return said + ")"
}
