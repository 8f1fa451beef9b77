package paper

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"codeberg.org/go-pdf/fpdf"

	"toeboard/weather"
)

func points(xy ...float64) []fpdf.PointType {
	var all []fpdf.PointType
	for i := 0; i+1 < len(xy); i += 2 {
		all = append(all, fpdf.PointType{X: xy[i], Y: xy[i+1]})
	}
	return all
}

// forecast draws the hours of the window as bars against their limit, with each
// hour's verdict as a word under it.
func (p Pack) forecast(f sheet) {
	f.heading("Forecast")
	if !p.Facts.Outdoors {
		f.para("All of today's work is indoors: no forecast is needed.")
		return
	}
	w := p.Facts.Weather
	f.strong(fmt.Sprintf("%s: %s", upper(w.Task.String()), w.Verdict))
	from := "No weather service is named."
	if w.Provider != "" {
		from = "Read from " + w.Provider + ", judged by version " + fmt.Sprint(w.Limits) + " of the firm's limits."
	}
	f.note(from)
	level := slices.IndexFunc(w.Levels, func(l weather.Level) bool { return l.Quantity == weather.WindGust })
	if level >= 0 && len(w.Steps) > 0 {
		p.strip(f, level)
	}
	for _, r := range w.Reasons {
		mark := map[weather.Verdict]string{weather.Go: "+", weather.Caution: "!", weather.Stop: "X"}[r.Verdict]
		f.item(cmp.Or(mark, "?"), r.Sentence()+".")
	}
	if len(w.Reasons) == 0 {
		f.para("No forecast was known: outdoor work is not clear.")
	}
}

func (p Pack) strip(f sheet, level int) {
	w := p.Facts.Weather
	l := w.Levels[level]
	f.room(38)
	const height, labels = 22.0, 9.0
	x0, y0 := left+12, f.GetY()+height+2
	most := 1.0
	if l.Stop.Known {
		most = l.Stop.N * 1.3
	}
	for _, s := range w.Steps {
		if len(s.Checks) > level && s.Checks[level].Value.Known {
			most = math.Max(most, s.Checks[level].Value.N)
		}
	}
	each := math.Min((wide-14)/float64(len(w.Steps)), 14)
	f.SetFont("go", "", small)
	for i, s := range w.Steps {
		x := x0 + float64(i)*each
		value := "?"
		if len(s.Checks) > level && s.Checks[level].Value.Known {
			n := s.Checks[level].Value.N
			h := height * n / most
			f.SetFillColor(200, 200, 200)
			f.Rect(x+1, y0-h, each-2, h, "FD")
			value = fmt.Sprintf("%.1f", n)
		}
		f.SetXY(x, y0+0.5)
		f.CellFormat(each, 3, value, "", 2, "C", false, 0, "")
		f.CellFormat(each, 3, s.From.In(p.loc()).Format("15:04"), "", 2, "C", false, 0, "")
		f.CellFormat(each, 3, s.Verdict.String(), "", 0, "C", false, 0, "")
	}
	f.SetXY(left, y0+0.5)
	f.CellFormat(12, 3, l.Unit, "", 0, "L", false, 0, "")
	f.Line(x0, y0, x0+each*float64(len(w.Steps)), y0)
	if l.Stop.Known {
		y := y0 - height*l.Stop.N/most
		f.SetDashPattern([]float64{2, 1}, 0)
		f.Line(x0, y, x0+each*float64(len(w.Steps)), y)
		f.SetDashPattern(nil, 0)
		f.SetXY(x0+each*float64(len(w.Steps)), y-1.5)
		f.CellFormat(30, 3, fmt.Sprintf("stop %.1f %s", l.Stop.N, l.Unit), "", 0, "L", false, 0, "")
	}
	f.SetXY(left, y0+labels+2)
	f.note("Gust in each hour; the dashed line is the limit at which the work stops.")
}
