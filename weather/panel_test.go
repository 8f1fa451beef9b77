package weather_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"toeboard/weather"
)

// A module of 1.134 x 1.762 m with Cd 1.17, air 1.225 kg/m³: forces computed by
// hand from 1/2 rho Cd A V². The gusts for 70, 100, 150 and 200 N follow.
func TestDragOnAModule(t *testing.T) {
	t.Parallel()
	module := weather.Panel{WidthM: 1.134, HeightM: 1.762, Handlers: 1, Cd: 1.17}
	one, err := weather.PanelWindLimit(module)
	if err != nil {
		t.Fatal(err)
	}
	for gust, newton := range map[float64]float64{5: 35.8, 8: 91.6, 10.28: 151.3, 12.5: 223.7, 15.65: 350.7} {
		near(t, "drag", one.Drag(gust), newton, 0.1)
	}
	near(t, "70 N, one person keeps it moving", one.Caution, 6.99, 0.005)
	near(t, "150 N, one person starts or stops it", one.Stop, 10.24, 0.005)

	// Two people: two thirds of the sum, 200 N to start or stop.
	module.Handlers = 2
	two, err := weather.PanelWindLimit(module)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "200 N, two people", two.Stop, 11.82, 0.005)
	for _, part := range []string{"1.225", "Cd 1.17", "2.00 m²", "11.8 m/s", "200 N", "two thirds of 2 x 150 N"} {
		if !strings.Contains(two.Sum, part) {
			t.Errorf("the sum %q does not show %q", two.Sum, part)
		}
	}
}

// Of a module of 1.95 m² nothing else is known. By hand: taken as 1.134 m wide
// its sides are as 1.516 to 1, Cd = 1.17 + 0.03 x 0.516/4 = 1.1739, and
// V = sqrt(2 F / (1.225 x 1.1739 x 1.95)) for two thirds of 2 x 70 N and of
// 2 x 150 N. With Cd 1.17 the area of the module above gives its forces again.
func TestAModuleKnownByItsAreaOnly(t *testing.T) {
	t.Parallel()
	limit := func(p weather.Panel) weather.PanelLimit {
		l, err := weather.PanelWindLimit(p)
		if err != nil {
			t.Fatal(err)
		}
		return l
	}
	usual := limit(weather.PanelOfArea(1.95, 2))
	near(t, "area", usual.AreaM2, 1.95, 1e-9)
	near(t, "drag coefficient", usual.Cd, 1.1739, 5e-5)
	near(t, "two keep it moving", usual.Caution, 8.16, 0.005)
	near(t, "two start or stop it", usual.Stop, 11.94, 0.005)

	same := weather.PanelOfArea(1.134*1.762, 2)
	same.Cd = 1.17
	for gust, newton := range map[float64]float64{5: 35.8, 8: 91.6, 10.28: 151.3, 12.5: 223.7, 15.65: 350.7} {
		near(t, "drag", limit(same).Drag(gust), newton, 0.1)
	}
	near(t, "200 N, two people", limit(same).Stop, 11.82, 0.005)

	large := weather.PanelOfArea(3.1, 2)
	w := work(weather.PanelCarrying)
	w.Panel = &large
	for _, level := range weather.Judge(calm(), weather.DefaultLimits(), w).Levels {
		if level.Quantity == weather.WindGust && !strings.HasPrefix(level.Source, "module of 3.10 m²: 1/2 x") {
			t.Errorf("the sides of a module known by its area are told as if measured: %s", level.Source)
		}
	}
	for _, m2 := range []float64{0, -1, 20, math.NaN(), math.Inf(1)} {
		if l, err := weather.PanelWindLimit(weather.PanelOfArea(m2, 2)); err == nil {
			t.Errorf("a module of %v m² has the limit %+v", m2, l)
		}
	}
}

// Engineers' data books: 1.17 for a square plate, 1.98 for an endless strip.
func TestDragCoefficientByShape(t *testing.T) {
	t.Parallel()
	cd := func(w, h float64) float64 {
		l, err := weather.PanelWindLimit(weather.Panel{WidthM: w, HeightM: h, Handlers: 2})
		if err != nil {
			t.Fatal(err)
		}
		return l.Cd
	}
	near(t, "square", cd(1.2, 1.2), 1.17, 1e-9)
	near(t, "sides swapped", cd(0.5, 2), cd(2, 0.5), 1e-12)
	if strip := cd(0.1, 5); !(strip > 1.6 && strip < 1.98) {
		t.Errorf("a strip of 50 to 1 has Cd %v", strip)
	}
}

func TestABiggerModuleIsStoppedEarlier(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.Float64Range(0.3, 2.4)
		p := weather.Panel{WidthM: side.Draw(t, "w"), HeightM: side.Draw(t, "h"), Handlers: rapid.IntRange(1, 4).Draw(t, "people")}
		bigger := p
		bigger.WidthM *= 1.05
		bigger.HeightM *= 1.05
		a, err := weather.PanelWindLimit(p)
		if err != nil {
			t.Fatal(err)
		}
		b, err := weather.PanelWindLimit(bigger)
		if err != nil {
			t.Fatal(err)
		}
		if !(b.Stop < a.Stop && b.Caution < b.Stop) {
			t.Fatalf("%+v: %+v, %+v: %+v", p, a, bigger, b)
		}
	})
}

func TestModulesThatAreNoneAreRefused(t *testing.T) {
	t.Parallel()
	for _, p := range []weather.Panel{{}, {WidthM: 1, HeightM: 1}, {WidthM: 1, HeightM: 10, Handlers: 2}, {WidthM: 1, HeightM: 1, Handlers: 9}, {WidthM: 1, HeightM: 1, Handlers: 2, Cd: 0.1}} {
		if l, err := weather.PanelWindLimit(p); err == nil {
			t.Errorf("%+v has the limit %+v", p, l)
		}
		w := work(weather.PanelCarrying)
		w.Panel = &p
		if j := weather.Judge(calm(), weather.DefaultLimits(), w); j.Verdict != weather.Unknown {
			t.Errorf("%+v: %s", p, j.Sentence())
		}
	}
}

func TestTheModuleOnlyTightens(t *testing.T) {
	t.Parallel()
	gustLevel := func(p *weather.Panel) weather.Level {
		w := work(weather.PanelCarrying)
		w.Panel = p
		for _, level := range weather.Judge(calm(), weather.DefaultLimits(), w).Levels {
			if level.Quantity == weather.WindGust {
				return level
			}
		}
		t.Fatal("no gust level")
		return weather.Level{}
	}
	small := gustLevel(&weather.Panel{WidthM: 0.6, HeightM: 0.6, Handlers: 2})
	near(t, "a small module keeps the firm's limit", small.Stop.N, 10.28, 0)
	large := gustLevel(&weather.Panel{WidthM: 1.3, HeightM: 2.4, Handlers: 1})
	if !(large.Stop.N < 10.28) || !strings.Contains(large.Source, "1.30 x 2.40 m") {
		t.Errorf("a large module: %+v", large)
	}
	if unnamed := gustLevel(nil); !strings.Contains(unnamed.Source, "module not named") {
		t.Errorf("nobody said which module: %+v", unnamed)
	}
}
