package web

import (
	"strings"
	"testing"
	"time"
)

// A plume tells when one future in ten and when half of them pass the limit, and
// draws what lies above it in black; what is not known is neither calm nor left
// out.
func TestPlumeTellsWhenTheLimitIsPassed(t *testing.T) {
	p := samplePlume() // one in ten from the fifth step, half from the 21st
	says := p.Says()
	for _, want := range []string{"One future in ten passes the limit for the first time on Tue 1 Dec from 18:00.", "Half of them pass it for the first time on Thu 3 Dec from 18:00."} {
		if !strings.Contains(says, want) {
			t.Errorf("%q does not say %q", says, want)
		}
	}
	fig := render(t, JobPage{Plume: p}).Find("svg.plume")
	if n := fig.Find("rect.d-dashed").Length(); n != 3 {
		t.Errorf("%d unknown steps are drawn, want 3", n)
	}
	if n := fig.Find("rect.d-under").Length(); n != 37 {
		t.Errorf("%d known steps are drawn, want 37", n)
	}
	over := 0
	for _, c := range p.Columns() {
		if c.OverH > 0 {
			over++
			if c.OverTop+c.OverH > p.LimitY()+1.6 {
				t.Errorf("black below the limit at %s", c.From)
			}
		}
	}
	if n := fig.Find("rect.d-solid").Length(); n != over+1 { // and the ground line
		t.Errorf("%d black columns are drawn, want %d", n-1, over)
	}
	calm := &Plume{LimitMS: N(10), Steps: []PlumeStep{{From: time.Now(), Low: N(1), Middle: N(2), High: N(3), Over: N(0)}}}
	if says := calm.Says(); !strings.Contains(says, "in none of the steps that are known") {
		t.Error(says)
	}
	if says := (Plume{LimitMS: N(10), Steps: []PlumeStep{{}}}).Says(); !strings.Contains(says, "too few members") {
		t.Error(says)
	}
}
