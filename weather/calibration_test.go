package weather_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"toeboard/weather"
)

func outcomes(p []float64, ran []int) (list []weather.Outcome) {
	for i := range p {
		list = append(list, weather.Outcome{P: p[i], Climate: 0.5, Ran: ran[i] == 1})
	}
	return list
}

// The worked example: ten chances, their Brier score 0.13 = 0.013333 - 0.133333
// + 0.25, skill 0.48 (computed by hand from the definitions of Brier 1950 and
// Murphy 1973).
func TestBrierWorkedExample(t *testing.T) {
	t.Parallel()
	s := weather.BrierScore(outcomes([]float64{.1, .1, .3, .3, .3, .7, .7, .9, .9, .9}, []int{0, 0, 0, 1, 0, 1, 0, 1, 1, 1}))
	for name, c := range map[string]struct{ got, want float64 }{
		"Brier": {s.Brier, 0.13}, "reliability": {s.Reliability, 0.0133333333}, "resolution": {s.Resolution, 0.1333333333}, "uncertainty": {s.Uncertainty, 0.25}, "skill": {s.Skill.N, 0.48},
	} {
		if math.Abs(c.got-c.want) > 1e-9 {
			t.Errorf("%s is %v, want %v", name, c.got, c.want)
		}
	}
	if s := weather.BrierScore(nil); s.N != 0 || s.Skill.Known {
		t.Errorf("of nothing: %+v", s)
	}
}

// Murphy's identity holds for any set.
func TestBrierPartsAddUp(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var list []weather.Outcome
		for range rapid.IntRange(1, 60).Draw(t, "n") {
			list = append(list, weather.Outcome{P: float64(rapid.IntRange(0, 10).Draw(t, "p")) / 10, Ran: rapid.Bool().Draw(t, "ran")})
		}
		s := weather.BrierScore(list)
		if math.Abs(s.Brier-(s.Reliability-s.Resolution+s.Uncertainty)) > 1e-9 {
			t.Fatalf("%+v", s)
		}
	})
}

// The interval of 0 of 10 and of 5 of 10 at 90% (Wilson's formula worked by
// hand: z2 = 2.7055; 0 of 10: 2.7055/12.7055; 5 of 10: 0.5 -+ 0.2308).
func TestReliabilityDiagram(t *testing.T) {
	t.Parallel()
	p, ran := []float64{}, []int{}
	for i := range 10 {
		p, ran = append(p, 0.05, 0.55), append(ran, 0, i%2)
	}
	bins := weather.ReliabilityDiagram(outcomes(p, ran), 10)
	if len(bins) != 2 || bins[0].N != 10 || bins[1].N != 10 {
		t.Fatalf("%+v", bins)
	}
	for name, c := range map[string]struct{ got, want float64 }{
		"low of none": {bins[0].Low, 0}, "high of none": {bins[0].High, 0.21294}, "low of half": {bins[1].Low, 0.26925}, "high of half": {bins[1].High, 0.73075}, "mean": {bins[1].P, 0.55},
	} {
		if math.Abs(c.got-c.want) > 2e-4 {
			t.Errorf("%s is %v, want %v", name, c.got, c.want)
		}
	}
}

// A forecaster whose chances are half as sure as said: what is learnt finds the
// half, and the shrunk chances score better on weather not learnt from.
func TestShrinkageIsLearnt(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 7))
	draw := func(n int) (list []weather.Outcome) {
		for range n {
			climate := 0.3 + 0.4*r.Float64()
			truth := climate + (r.Float64()-0.5)*0.5
			list = append(list, weather.Outcome{Lead: 3, P: min(0.995, max(0.005, climate+2*(truth-climate))), Climate: climate, Ran: r.Float64() < truth})
		}
		return list
	}
	s := weather.Learn(draw(4000))
	if s.Keep[3] < 0.4 || s.Keep[3] > 0.65 || s.Keep[1] != 1 {
		t.Fatalf("kept at lead 3: %v, at lead 1: %v", s.Keep[3], s.Keep[1])
	}
	fresh := draw(2000)
	raw := weather.BrierScore(fresh).Brier
	for i, o := range fresh {
		c := s.Apply(weather.Chance{Known: true, P: o.P}, weather.Chance{Known: true, P: o.Climate}, 3.4)
		fresh[i].P = c.P
	}
	if better := weather.BrierScore(fresh).Brier; better >= raw {
		t.Errorf("Brier %v, before %v", better, raw)
	}
	// A lucky week teaches little, and nothing makes a forecast say more.
	few := weather.Learn(outcomes([]float64{.9, .9, .9, .9, .9}, []int{0, 0, 0, 0, 0}))
	if few.Keep[0] < 0.2 {
		t.Errorf("five half-days take %v", few.Keep[0])
	}
	if more := weather.Learn(outcomes([]float64{.6, .6, .6, .4, .4}, []int{1, 1, 1, 0, 0})); more.Keep[0] > 1 {
		t.Errorf("kept %v", more.Keep[0])
	}
	if c := s.Apply(weather.Chance{}, weather.Chance{Known: true, P: 0.5}, 3); c.Known {
		t.Error("what is not known stays unknown")
	}
	if c := (weather.Shrinkage{}).Apply(weather.Chance{Known: true, P: 0.9}, weather.Chance{Known: true, P: 0.5}, 3); c.P != 0.9 {
		t.Error("the zero value has learnt nothing")
	}
}
