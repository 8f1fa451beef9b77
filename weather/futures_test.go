package weather_test

import (
	"math"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/civil"
)

var outdoors = []weather.Task{weather.ScaffoldErection, weather.ScaffoldStrike, weather.PanelCarrying, weather.RoofCovering}

func aheadFrom(t *testing.T, first civil.Date, days int) weather.Ahead {
	loc, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	return weather.Ahead{Place: suburb, Tasks: outdoors, First: first.In(civil.Morning), N: 2 * days, Hours: civil.UsualHours, Loc: loc,
		Now: first.At(7, 0, loc), Climate: weather.DefaultClimate()}
}

// Past the forecast the share of futures that pass is what the climate table
// (climate.csv, counted from the open record) says of the month, to within one
// future in the number drawn.
func TestFuturesPastTheForecastKeepTheClimate(t *testing.T) {
	t.Parallel()
	const futures = 60
	first := civil.On(2026, time.June, 1) // light enough: the sun takes no half-day
	a := aheadFrom(t, first, 92)
	rows := weather.Futures(weather.Series{}, weather.DefaultLimits(), a, weather.NewDraws(first, 92, futures, 3))
	chances := weather.Outlook(weather.Series{}, weather.DefaultLimits(), a)
	for i := range outdoors {
		for k := range a.N {
			h := a.First + civil.HalfDay(k)
			n := 0
			for f := range futures {
				if rows[i].In(h, f) {
					n++
				}
			}
			if got, want := float64(n)/futures, chances[i][k].P; math.Abs(got-want) > 1.0/futures || !rows[i].Known(h) {
				t.Fatalf("%s on %s: %.3f of the futures pass, the climate says %.3f", outdoors[i].Doing(), h.Short(), got, want)
			}
		}
	}
}

// serial sums up the products of neighbouring days of a row and of each day with
// itself, less the row's own mean.
func serial(row []bool) (neighbours, own float64) {
	mean := 0.0
	for _, w := range row {
		mean += one(w) / float64(len(row))
	}
	for i := range row {
		own += (one(row[i]) - mean) * (one(row[i]) - mean)
		if i > 0 {
			neighbours += (one(row[i]) - mean) * (one(row[i-1]) - mean)
		}
	}
	return neighbours, own
}

func one(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

// The persistence that is drawn is near that of the record (the open typical
// year): the correlation of one workable half-day with the same half of the next
// day, each month by itself, since the months come from different years. What is
// drawn is cut into months of 30 days and counted the same way, because a row's
// own mean makes such a correlation too small in both. By Bartlett's formula the
// standard error of the record's is about 1/sqrt(700) = 0.04.
func TestPersistenceIsThatOfTheRecord(t *testing.T) {
	t.Parallel()
	record := recordOf(typicalYear(t))
	var xy, xx float64
	for m := time.January; m <= time.December; m++ {
		for half := civil.Morning; half <= civil.Afternoon; half++ {
			var windows [][2]time.Time
			for d := civil.On(2001, m, 2); d < civil.On(2001, m+1, 1); d++ { // the record begins in the night of 1 January
				from, to := civil.UsualHours.Window(d.In(half), recordClock)
				windows = append(windows, [2]time.Time{from, to})
			}
			for _, task := range outdoors {
				neighbours, own := serial(weather.WorkableIn(record, task, windows))
				xy, xx = xy+neighbours, xx+own
			}
		}
	}
	counted := xy / xx

	first := civil.On(2026, time.June, 1)
	const futures, months = 60, 24
	d := weather.NewDraws(first, 30*months, futures, 9)
	xy, xx = 0, 0
	for f := range futures {
		for m := range months {
			row := make([]bool, 30)
			for i := range row {
				row[i] = d.On(first + civil.Date(30*m+i))[f] < 0.6
			}
			neighbours, own := serial(row)
			xy, xx = xy+neighbours, xx+own
		}
	}
	if drawn := xy / xx; math.Abs(drawn-counted) > 0.04 {
		t.Errorf("drawn days are correlated by %.3f, the record's by %.3f", drawn, counted)
	} else {
		t.Logf("drawn %.3f, the record's %.3f", drawn, counted)
	}
}

// A future is one member within the forecast, at every site and for every task;
// with lead time as many futures leave their members as a chance loses weight.
func TestAFutureIsOneMemberAsFarAsItIsTrusted(t *testing.T) {
	t.Parallel()
	const m = 25
	var changes []func(*weather.Hour)
	for i := range m {
		change := func(*weather.Hour) {}
		if i%5 == 0 { // every fifth member is a gale all along
			change = gale
		}
		changes = append(changes, change)
	}
	s := weather.Series{Provider: "test", FetchedAt: morning.Add(-2 * time.Hour), ModelRun: morning.Add(-5 * time.Hour)}
	for _, change := range changes {
		s.Members = append(s.Members, leads(change, 1).Members[0])
	}
	futures := weather.FuturesOf(m)
	if futures != 50 {
		t.Fatalf("%d futures of %d members", futures, m)
	}
	first := civil.DateOf(morning, london)
	const days = 14
	d := weather.NewDraws(first, days, futures, 5)
	ask := weather.Ahead{Place: suburb, Tasks: outdoors, First: first.In(civil.Morning), N: 2 * days, Hours: civil.UsualHours, Loc: london,
		Now: morning.Add(-time.Hour), Climate: weather.DefaultClimate()}
	rows := weather.Futures(s, weather.DefaultLimits(), ask, d)
	elsewhere := ask
	elsewhere.Place.Lat += 0.3
	there := weather.Futures(s, weather.DefaultLimits(), elsewhere, d)
	chances := weather.Outlook(s, weather.DefaultLimits(), ask)
	for i, task := range outdoors {
		for k := range ask.N {
			h, n := ask.First+civil.HalfDay(k), 0
			for f := range futures {
				in := rows[i].In(h, f)
				n += int(one(in))
				if k < 4 && in != (f%m%5 != 0) {
					t.Errorf("%s on %s: future %d passes: %v, its member is a gale: %v", task.Doing(), h.Short(), f, in, f%m%5 == 0)
				}
				if in != there[i].In(h, f) {
					t.Errorf("%s on %s: future %d is another weather 33 km away", task.Doing(), h.Short(), f)
				}
			}
			// The chance has one good and one bad member more than there are; and which
			// futures leave is drawn.
			if got, want := float64(n)/float64(futures), chances[i][k].P; math.Abs(got-want) > 0.1 {
				t.Errorf("%s on %s: %.2f of the futures pass, the chance is %.2f", task.Doing(), h.Short(), got, want)
			}
		}
	}
}

// What nobody knows passes in no future and is not known: no climate and no
// forecast, no terrain, a member without hours.
func TestWhatNobodyKnowsPassesInNoFuture(t *testing.T) {
	t.Parallel()
	first := civil.DateOf(morning, london)
	d := weather.NewDraws(first, 2, 50, 5)
	ask := weather.Ahead{Place: suburb, Tasks: outdoors, First: first.In(civil.Morning), N: 6, Hours: civil.UsualHours, Loc: london,
		Now: morning.Add(-time.Hour), Climate: weather.DefaultClimate()}
	noClimate, noPlace := ask, ask
	noClimate.Climate = weather.Climate{}
	noPlace.Place.Terrain = weather.TerrainUnknown
	unknown := func(h *weather.Hour) { h.Rain = weather.Value{} }
	half := leads(unknown, 1)
	half.Members = append(half.Members, leads(func(*weather.Hour) {}, 1).Members[0])
	for _, c := range []struct {
		what  string
		s     weather.Series
		a     weather.Ahead
		known bool
	}{
		{"neither forecast nor climate", weather.Series{}, noClimate, false},
		{"no terrain", weather.Series{}, noPlace, false},
		{"one of two members knows", half, noClimate, true},
	} {
		row := weather.Futures(c.s, weather.DefaultLimits(), c.a, d)[3]
		for k := range 4 {
			h := c.a.First + civil.HalfDay(k)
			if row.Known(h) != c.known {
				t.Errorf("%s: %s is known: %v", c.what, h.Short(), row.Known(h))
			}
			for f := range 50 {
				if in := row.In(h, f); in != (c.known && f%2 == 1) {
					t.Errorf("%s: %s passes in future %d: %v", c.what, h.Short(), f, in)
				}
			}
		}
	}
	row := weather.Futures(weather.Series{}, weather.DefaultLimits(), ask, d)[3]
	for k := 4; k < 6; k++ { // the draws end after two days
		if h := ask.First + civil.HalfDay(k); row.Known(h) || row.In(h, 0) {
			t.Errorf("%s is known though nothing was drawn for it", h.Short())
		}
	}
}

func TestTheSameSeedGivesTheSameFutures(t *testing.T) {
	t.Parallel()
	first := civil.On(2026, time.June, 1)
	a, b, longer, other := weather.NewDraws(first, 10, 50, 1), weather.NewDraws(first, 10, 50, 1), weather.NewDraws(first, 20, 50, 1), weather.NewDraws(first, 10, 50, 2)
	differs := false
	for d := first; d < first+10; d++ {
		for f := range 50 {
			if a.On(d)[f] != b.On(d)[f] || a.On(d)[f] != longer.On(d)[f] {
				t.Fatalf("%s, future %d: the same seed draws another rank", d, f)
			}
			differs = differs || a.On(d)[f] != other.On(d)[f]
		}
	}
	if !differs {
		t.Error("another seed draws the same")
	}
}

// What kept forecasts taught is taken into futures as into chances: on the first
// day, when all futures are the members', and a share of what a member says is
// kept, the share of futures that pass is the shrunk chance to within one future
// for each of the two draws.
func TestFuturesTrustMembersAsFarAsWasLearnt(t *testing.T) {
	t.Parallel()
	const futures, members = 600, 20
	first := civil.On(2026, time.June, 1)
	a := aheadFrom(t, first, 1)
	s := weather.Series{FetchedAt: a.Now}
	for range members {
		var hours []weather.Hour
		for h := range 48 { // calm and dry: every member passes
			hours = append(hours, weather.Hour{From: first.At(0, 0, a.Loc).Add(time.Duration(h-12) * time.Hour).UTC(), Span: time.Hour, WindMean: weather.Is(1), WindGust: weather.Is(2),
				Rain: weather.Is(0), Temp: weather.Is(12), DewPoint: weather.Is(2), Humidity: weather.Is(50), Cloud: weather.Is(50), Thunder: weather.Is(0), Radiation: weather.Is(200)})
		}
		s.Members = append(s.Members, weather.Member{Hours: hours})
	}
	share := func(a weather.Ahead) float64 {
		row := weather.Futures(s, weather.DefaultLimits(), a, weather.NewDraws(first, 1, futures, 7))[3]
		n := 0
		for f := range futures {
			if row.In(a.First, f) {
				n++
			}
		}
		return float64(n) / futures
	}
	climate := weather.Outlook(weather.Series{}, weather.DefaultLimits(), a)[3][0].P
	if got := share(a); got != 1 {
		t.Fatalf("nothing learnt, and %.3f of the futures pass", got)
	}
	for _, keep := range []float64{0, 0.3, 0.8, 1} {
		a.Shrink = weather.Shrinkage{Learnt: true}
		for lead := range a.Shrink.Keep {
			a.Shrink.Keep[lead] = keep
		}
		want := climate + keep*(1-climate)
		if got := share(a); math.Abs(got-want) > 0.04 { // 600 ranks and trusts in two independent orders: a standard error of about 0.01
			t.Errorf("%.0f%% kept: %.3f of the futures pass, want %.3f (climate %.3f)", 100*keep, got, want, climate)
		}
	}
}
