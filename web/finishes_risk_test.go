package web

import (
	"testing"
	"time"
)

// The promises in danger stand first, the worst at the top, and a sentence may
// begin with a pound.
func TestPromisesInDangerStandFirst(t *testing.T) {
	f := Finishes{Futures: 40, AsOf: time.Now()}
	for _, j := range []struct {
		ref string
		p   float64
	}{{"safe", 0.9}, {"shaky", 0.6}, {"lost", 0.1}} {
		f.Jobs = append(f.Jobs, FinishLine{Ref: j.ref, Told: true, P10: "2026-12-07", P50: "2026-12-08", P90: "2026-12-11", Promised: "2026-12-11", Chance: Chance{Known: true, P: j.p}, Hire: 1_43})
	}
	f.Jobs = append(f.Jobs, FinishLine{Ref: "nobody knows", Why: "It hangs on weather that nobody knows."})
	risky := f.AtRisk()
	if len(risky) != 2 || risky[0].Ref != "lost" || risky[1].Ref != "shaky" {
		t.Errorf("in danger: %+v", risky)
	}
	if says := risky[0].Besides(); says != "£1.43 of hire past the included weeks on average." {
		t.Errorf("%q", says)
	}
	f.Jobs = f.Jobs[:1]
	if f.AtRisk() != nil {
		t.Error("one job alone needs no order")
	}
}
