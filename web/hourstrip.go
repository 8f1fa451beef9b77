package web

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// stripTopMS is the gust at the top edge of every strip [m/s]. The scale is the
// same for all places and days, so that two strips are compared by eye.
const stripTopMS = 20.0

const (
	stripPlotTop    = 6.0   // [px] under the top edge
	stripPlotHeight = 110.0 // [px] that stand for stripTopMS
)

// stripColumn is one hour as it is drawn. X, Mid and Width are percent of the
// strip's width, the rest pixels.
type stripColumn struct {
	StripHour
	X, Mid, Width  float64
	BarX, BarWidth float64
	Top, Height    float64 // of the bar up to the limit
	OverTop, OverH float64 // of the part above the limit
	TooWindy       bool
	Wet, TooWet    bool
	Label          bool // whether the hour is written under it
}

// PlotBottom is where the gust's bars stand [px].
func (Strip) PlotBottom() float64 { return stripPlotTop + stripPlotHeight }

// Name is the strip's name on its page.
func (s Strip) Name() string {
	if s.ID == "" {
		return "strip"
	}
	return s.ID
}

// Columns gives the hours as they are drawn.
func (s Strip) Columns() []stripColumn {
	n := float64(len(s.Hours))
	step := 1
	if n > 16 {
		step = 3
	} else if n > 9 {
		step = 2
	}
	var cols []stripColumn
	for i, h := range s.Hours {
		w := 100 / n
		c := stripColumn{StripHour: h, X: float64(i) * w, Width: w, Mid: (float64(i) + 0.5) * w, BarX: (float64(i) + 0.14) * w, BarWidth: 0.72 * w}
		low := h.GustMS.N
		if s.GustLimitMS.Known {
			low = min(low, s.GustLimitMS.N)
		}
		c.Top, c.Height = s.y(low), s.PlotBottom()-s.y(low)
		if h.GustMS.Known && h.GustMS.N > low {
			c.OverTop, c.OverH = s.y(h.GustMS.N), s.y(low)-s.y(h.GustMS.N)
		}
		c.TooWindy = h.GustMS.Known && s.GustLimitMS.Known && h.GustMS.N > s.GustLimitMS.N
		c.Wet = h.RainMM.Known && h.RainMM.N > 0
		c.TooWet = h.RainMM.Known && s.RainLimitMM.Known && h.RainMM.N > s.RainLimitMM.N
		c.Label = i%step == 0
		cols = append(cols, c)
	}
	return cols
}

// stripBand is a run of hours with one verdict, as it is drawn: percent of the
// width.
type stripBand struct {
	Sky      Sky
	X, Width float64
	Mid      float64
	Word     string
}

// Bands joins neighbouring hours of the same verdict. Each band has its own
// shape, and its word, or where it is too narrow for it a sign.
func (s Strip) Bands() (bands []stripBand) {
	w := 100 / float64(max(1, len(s.Hours)))
	for i, h := range s.Hours {
		if n := len(bands); n > 0 && bands[n-1].Sky == h.Sky {
			bands[n-1].Width += w
			continue
		}
		bands = append(bands, stripBand{Sky: h.Sky, X: float64(i) * w, Width: w})
	}
	for i := range bands {
		b := &bands[i]
		b.Mid, b.Word = b.X+b.Width/2, b.Sky.String()
		if b.Width < 4*float64(len(b.Word)) { // a letter takes about three of a hundred parts of a phone's width
			b.Word = b.Sky.Sign()
		}
	}
	return bands
}

func (s Strip) y(ms float64) float64 {
	return stripPlotTop + stripPlotHeight*(1-min(1, max(0, ms/stripTopMS)))
}

// LimitY is where the limit's line lies [px].
func (s Strip) LimitY() float64 { return s.y(s.GustLimitMS.N) }

// LimitLabelY is where the limit is written, above its line or, near the top,
// under it.
func (s Strip) LimitLabelY() float64 {
	if s.LimitY() < 22 {
		return s.LimitY() + 14
	}
	return s.LimitY() - 5
}

// LimitMPH is the limit in miles an hour.
func (s Strip) LimitMPH() string { return MPH(s.GustLimitMS.N) }

// HasWindow tells whether the window lies in the strip's hours.
func (s Strip) HasWindow() bool { return s.WindowWidth() > 0 }

// WindowX is where the crew's window begins [%].
func (s Strip) WindowX() float64 { return s.share(s.From) }

// WindowWidth is how wide the crew's window is [%].
func (s Strip) WindowWidth() float64 { return s.share(s.To) - s.share(s.From) }

// WindowEnd is where the crew's window ends [%].
func (s Strip) WindowEnd() float64 { return s.share(s.To) }

// WindowMid is the middle of the crew's window [%].
func (s Strip) WindowMid() float64 { return (s.share(s.From) + s.share(s.To)) / 2 }

func (s Strip) share(t time.Time) float64 {
	if len(s.Hours) == 0 || t.IsZero() {
		return 0
	}
	first := s.Hours[0].From
	all := s.Hours[len(s.Hours)-1].From.Add(time.Hour).Sub(first)
	return min(100, max(0, 100*float64(t.Sub(first))/float64(all)))
}

// mphPerMS is how many miles an hour are one metre a second: 3600 / 1609.344.
const mphPerMS = 2.236936

// speed writes a gust as the site speaks of it: "6.3 m/s (14 mph)".
func speed(ms Num) string {
	if !ms.Known {
		return ms.In(1, "m/s")
	}
	return fmt.Sprintf("%s (%s)", ms.In(1, "m/s"), MPH(ms.N))
}

// MPH writes a speed in m/s in whole miles an hour, which is what crews think in.
func MPH(ms float64) string { return number(ms*mphPerMS, 0) + "\u00a0mph" }

var inMS = regexp.MustCompile(`(\d+(?:\.\d+)?) m/s`)

// WithMPH puts miles an hour behind each speed of a sentence.
func WithMPH(s string) string {
	return inMS.ReplaceAllStringFunc(s, func(found string) string {
		ms, err := strconv.ParseFloat(strings.TrimSuffix(found, " m/s"), 64)
		if err != nil {
			return found
		}
		return found + " (" + MPH(ms) + ")"
	})
}

// rainSays tells of the rain within the window: none, how much at most, or
// that it is not known.
func (s Strip) rainSays() string {
	var worst Num
	for _, h := range s.Hours {
		switch {
		case s.outside(h):
		case !h.RainMM.Known:
			return " Rain is not known for every hour."
		case !worst.Known || h.RainMM.N > worst.N:
			worst = h.RainMM
		}
	}
	switch {
	case !worst.Known:
		return ""
	case worst.N <= 0:
		return " Dry."
	}
	says := " Rain up to " + worst.In(1, "mm") + " in an hour"
	if s.RainLimitMM.Known {
		says += ", limit " + s.RainLimitMM.In(1, "mm")
	}
	return says + "."
}

// outside tells whether an hour lies outside the crew's window.
func (s Strip) outside(h StripHour) bool {
	return !s.From.IsZero() && (h.From.Before(s.From.Truncate(time.Hour)) || !h.From.Before(s.To))
}

// Says is the strip in one sentence, for those who do not see it.
func (s Strip) Says() string {
	if len(s.Hours) == 0 {
		return "No hour of this forecast is known."
	}
	var worst StripHour
	unknown, over := 0, 0
	for _, h := range s.Hours {
		if s.outside(h) {
			continue
		}
		switch {
		case !h.GustMS.Known:
			unknown++
		case !worst.GustMS.Known || h.GustMS.N > worst.GustMS.N:
			worst = h
		}
		if h.GustMS.Known && s.GustLimitMS.Known && h.GustMS.N > s.GustLimitMS.N {
			over++
		}
	}
	says := "No gust is known for these hours."
	if worst.GustMS.Known {
		says = fmt.Sprintf("Highest gust %s at %s", speed(worst.GustMS), clock(worst.From))
		if s.GustLimitMS.Known {
			says += fmt.Sprintf(", limit %s", speed(s.GustLimitMS))
		} else {
			says += ", limit not known"
		}
		says += "."
	}
	if over > 0 {
		says += " " + count(over, "hour is", "hours are") + " over the limit."
	}
	says += s.rainSays()
	if unknown > 0 {
		says += " " + count(unknown, "hour is", "hours are") + " not known."
	}
	return says
}

// Sign is the verdict where there is no room for its word.
func (s Sky) Sign() string {
	switch s {
	case SkyStop:
		return "×"
	case SkyCaution:
		return "!"
	case SkyGo:
		return "go"
	default:
		return "?"
	}
}

// Shape is how the verdict's band is drawn.
func (s Sky) Shape() string {
	switch s {
	case SkyStop:
		return "d-solid"
	case SkyCaution, SkyGo:
		return "d-open"
	default:
		return "d-dashed"
	}
}

// Warns tells whether the band has a bar on top: a caution.
func (s Sky) Warns() bool { return s == SkyCaution }

// Stops tells whether the band is black.
func (s Sky) Stops() bool { return s == SkyStop }
