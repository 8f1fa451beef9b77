package web

import (
	"encoding/xml"
	"fmt"
	"io"
	"strings"
)

// Gantt is a schedule to be drawn as one picture that stands alone: bars on a
// line of slots, and under them what each resource carries. It is here and not
// with the kernel because the look (paper, ink, one accent) is the pages'.
type Gantt struct {
	Title string // what is shown
	Says  string // what it comes to, in one sentence
	Slots int    // length of the line, at least 1
	Bars  []GanttBar
	Loads []GanttLoad
}

// GanttBar is one activity. Last is its last slot, inclusive.
type GanttBar struct {
	Name        string
	First, Last int
	Tight       bool // cannot end later without a longer schedule
}

// GanttLoad is what a resource carries by slot.
type GanttLoad struct {
	Name     string
	Capacity int
	Used     []int
}

// The drawing's measures [px].
const (
	ganttNames  = 76  // to the left of the line
	ganttLine   = 900 // the line of slots
	ganttTop    = 78
	ganttRow    = 16
	ganttBarH   = 10
	ganttLoadH  = 46
	ganttMargin = 20
)

// The palette of board.css; a picture that stands alone cannot link to it.
const (
	paperColour  = "#fcfbf6"
	plainColour  = "#d6d2c2"
	inkColour    = "#14171a"
	pencilColour = "#3f454b"
	hairColour   = "#cdc9bb"
	accentColour = "#21379c"
)

// WriteSVG draws the schedule. A bar that cannot end later is told by its shape
// (full height, and a mark behind its name) and by the accent, so that it is
// seen in black and white too.
func (g Gantt) WriteSVG(w io.Writer) error {
	g.Slots = max(1, g.Slots)
	p := &ganttPen{perSlot: float64(ganttLine) / float64(g.Slots)}
	width := ganttNames + ganttLine + ganttMargin
	bottom := ganttTop + ganttRow*len(g.Bars)
	height := bottom + 8 + (ganttLoadH+10)*len(g.Loads) + ganttMargin
	p.draw(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%d" height="%d" role="img" font-family="system-ui, sans-serif" font-size="11" style="font-variant-numeric: tabular-nums">`, width, height, width, height)
	p.draw(`<title>%s</title><desc>%s</desc>`, escaped(g.Title), escaped(g.Says))
	p.draw(`<rect width="%d" height="%d" fill="%s"/>`, width, height, paperColour)
	p.draw(`<text x="12" y="24" font-size="17" font-weight="700" fill="%s">%s</text>`, inkColour, escaped(g.Title))
	p.draw(`<text x="12" y="43" font-size="12" fill="%s">%s</text>`, pencilColour, escaped(g.Says))
	p.draw("<text x=\"%d\" y=\"24\" text-anchor=\"end\" fill=\"%s\">\u25a0 and full height: cannot end later in a schedule of this length</text>", ganttNames+ganttLine, pencilColour)
	p.ruler(g.Slots, height-ganttMargin)
	for k, b := range g.Bars {
		p.bar(b, ganttTop+ganttRow*k)
	}
	for k, l := range g.Loads {
		p.load(l, bottom+8+(ganttLoadH+10)*k)
	}
	p.draw(`</svg>`)
	_, err := io.WriteString(w, p.String())
	return err
}

type ganttPen struct {
	strings.Builder
	perSlot float64
}

func (p *ganttPen) draw(format string, args ...any) {
	fmt.Fprintf(&p.Builder, format, args...)
	p.WriteByte('\n')
}

func (p *ganttPen) x(slot int) float64 { return ganttNames + p.perSlot*float64(slot) }

// ruler draws a hair at each round slot, numbered, and the end of the schedule.
func (p *ganttPen) ruler(slots, bottom int) {
	step := roundStep(slots, 20)
	for s := 0; s <= slots; s += step {
		p.draw(`<path d="M%.2f %dV%d" stroke="%s"/>`, p.x(s), ganttTop-8, bottom, hairColour)
		if slots-s >= step/2 || s == slots {
			p.draw(`<text x="%.2f" y="%d" text-anchor="middle" fill="%s">%d</text>`, p.x(s), ganttTop-12, pencilColour, s)
		}
	}
	p.draw(`<path d="M%.2f %dV%d" stroke="%s" stroke-width="2"/>`, p.x(slots), ganttTop-8, bottom, accentColour)
	if slots%step != 0 {
		p.draw(`<text x="%.2f" y="%d" text-anchor="middle" font-weight="700" fill="%s">%d</text>`, p.x(slots), ganttTop-12, accentColour, slots)
	}
}

// roundStep gives the smallest step of 1, 2 or 5 times a power of ten that cuts
// a length into at most so many pieces.
func roundStep(length, pieces int) int {
	for ten := 1; ; ten *= 10 {
		for _, step := range []int{ten, 2 * ten, 5 * ten} {
			if step*pieces >= length {
				return step
			}
		}
	}
}

func (p *ganttPen) bar(b GanttBar, y int) {
	width := p.perSlot * float64(b.Last-b.First+1)
	name, fill, top, height := b.Name, plainColour, y+3, ganttBarH
	if b.Tight {
		name, fill, top, height = b.Name+" \u25a0", accentColour, y+1, ganttBarH+4
	}
	p.draw(`<text x="%d" y="%d" text-anchor="end" fill="%s">%s</text>`, ganttNames-8, y+12, inkColour, escaped(name))
	p.draw(`<rect x="%.2f" y="%d" width="%.2f" height="%d" fill="%s" stroke="%s"><title>%s: slots %d to %d</title></rect>`,
		p.x(b.First), top, width, height, fill, inkColour, escaped(b.Name), b.First, b.Last)
}

// load draws what a resource carries as steps under the line of its capacity.
func (p *ganttPen) load(l GanttLoad, y int) {
	bottom := y + ganttLoadH
	level := func(used int) float64 {
		return float64(bottom) - float64(ganttLoadH)*float64(used)/float64(max(1, l.Capacity))
	}
	p.draw(`<text x="%d" y="%d" text-anchor="end" fill="%s">%s</text>`, ganttNames-8, y+12, inkColour, escaped(l.Name))
	p.draw(`<text x="%d" y="%d" text-anchor="end" fill="%s">has %d</text>`, ganttNames-8, y+27, pencilColour, l.Capacity)
	var path strings.Builder
	fmt.Fprintf(&path, "M%.2f %d", p.x(0), bottom)
	for s, used := range l.Used {
		fmt.Fprintf(&path, "V%.2fH%.2f", level(used), p.x(s+1))
	}
	p.draw(`<path d="%sV%dZ" fill="%s" stroke="%s"/>`, path.String(), bottom, plainColour, inkColour)
	p.draw(`<path d="M%.2f %dH%.2f" stroke="%s" stroke-width="1.5" stroke-dasharray="9 4"/>`, p.x(0), y, p.x(len(l.Used)), accentColour)
}

func escaped(s string) string {
	var b strings.Builder
	if err := xml.EscapeText(&b, []byte(s)); err != nil {
		return "" // a strings.Builder does not fail
	}
	return b.String()
}
