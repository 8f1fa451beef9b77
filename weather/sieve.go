package weather

import (
	"cmp"
	"math"
	"slices"
	"time"

	"toeboard/weather/fault"
)

// Marks hold what up to eight tasks meet in one hour, a byte for each task in
// the order of Sieve.Tasks. They are joined by OR: the worse counts.
type Marks uint64

const (
	markCaution Marks = 1 << iota
	markUnknown
	markStop
)

// mostTasks is how many tasks a Marks has room for.
const mostTasks = 8

// every sets a mark for all tasks.
func every(mark Marks) Marks { return mark * 0x0101_0101_0101_0101 }

// against are the marks that forbid: stops, and what is not known.
var against = every(markStop | markUnknown)

// Of gives the verdict on one task, ranked as Worse ranks.
func (m Marks) Of(task int) Verdict {
	switch of := m >> (8 * uint(task)); {
	case of&markStop != 0:
		return Stop
	case of&markUnknown != 0:
		return Unknown
	case of&markCaution != 0:
		return Caution
	}
	return Go
}

// Stops, Unknowns and Cautions give a word with the lowest bit of each task's
// byte set where the hour is at a stop, has something unknown, is a caution. An
// hour may be all three: the first counts.
func (m Marks) Stops() uint64 { return uint64(m/markStop) & uint64(every(1)) }

// Unknowns see Stops.
func (m Marks) Unknowns() uint64 { return uint64(m/markUnknown) & uint64(every(1)) }

// Cautions see Stops.
func (m Marks) Cautions() uint64 { return uint64(m/markCaution) & uint64(every(1)) }

// Grid holds the forecast of one place hour by hour, quantity by quantity, as
// [member x Hours + hour] in the units of Hour. NaN is not known. A Grid is
// filled again and again, so that judging many places takes no more memory than
// one.
type Grid struct {
	From           time.Time // UTC, a whole hour
	Hours, Members int

	WindMean, WindGust, Rain, Temp, DewPoint, Humidity, Cloud, Thunder, Visibility, Radiation []float64
}

// columns gives every quantity, in the order of values.
func (g *Grid) columns() [10]*[]float64 {
	return [10]*[]float64{&g.WindMean, &g.WindGust, &g.Rain, &g.Temp, &g.DewPoint, &g.Humidity, &g.Cloud, &g.Thunder, &g.Visibility, &g.Radiation}
}

func (h *Hour) values() [10]Value {
	return [10]Value{h.WindMean, h.WindGust, h.Rain, h.Temp, h.DewPoint, h.Humidity, h.Cloud, h.Thunder, h.Visibility, h.Radiation}
}

// Size makes room, all of it unknown.
func (g *Grid) Size(members, hours int) {
	g.Members, g.Hours = members, hours
	for _, c := range g.columns() {
		*c = slices.Grow((*c)[:0], members*hours)[:members*hours]
		for i := range *c {
			(*c)[i] = math.NaN()
		}
	}
}

// Fill reads a series. It is false, and the grid empty, when the series is not
// of whole hours in a row, the same for all members: such a one is for Judge.
func (g *Grid) Fill(s Series) bool {
	g.Size(0, 0)
	if len(s.Members) == 0 || len(s.Members[0].Hours) == 0 {
		return false
	}
	first := s.Members[0].Hours[0].From
	n := len(s.Members[0].Hours)
	if !first.Equal(first.Truncate(time.Hour)) {
		return false
	}
	for i := range s.Members {
		hours := s.Members[i].Hours
		if len(hours) != n {
			return false
		}
		for k := range hours {
			if hours[k].Span != time.Hour || !hours[k].From.Equal(first.Add(time.Duration(k)*time.Hour)) {
				return false
			}
		}
	}
	g.From = first.UTC()
	g.Size(len(s.Members), n)
	columns := g.columns()
	for i := range s.Members {
		for k := range s.Members[i].Hours {
			for c, v := range s.Members[i].Hours[k].values() {
				if v.Known {
					(*columns[c])[i*n+k] = v.N
				}
			}
		}
	}
	return true
}

// Sieve judges the hours of one place for up to eight tasks at once: the same
// verdicts as Judge gives step by step, without its reasons, many times as
// fast. It is for counting, where nobody reads why; low sun, which is told to
// people and stops nothing, is left out.
type Sieve struct {
	tasks                                                 []Task
	rules                                                 []rules
	always                                                Marks // what holds in every whole hour
	mean, gust, rain, temp, frost, heat, cold, film, sees steps
	thunder                                               steps
	recent                                                []recentSteps
	warm                                                  float64 // [degrees C] above which no felt cold can reach a level

	low    []bool    // by hour: the sun is low
	clear  []float64 // by hour: the sun's power under a clear sky [W/m2]
	bright []Marks   // by hour: what daylight says
}

// steps are the levels of one quantity for all tasks: from each threshold on
// (upward, or downward for low ones), the marks that a value meets.
type steps struct {
	at      []float64
	marks   []Marks
	unknown Marks
	low     bool
}

type recentSteps struct {
	hours int
	steps
}

// of gives the marks of a value; NaN is not known.
func (s *steps) of(v float64) (m Marks) {
	if v != v {
		return s.unknown
	}
	if s.low {
		for i := 0; i < len(s.at) && v <= s.at[i]; i++ {
			m = s.marks[i]
		}
		return m
	}
	for i := 0; i < len(s.at) && v >= s.at[i]; i++ {
		m = s.marks[i]
	}
	return m
}

// asked tells whether any task has a level.
func (s *steps) asked() bool { return len(s.at) > 0 }

// NewSieve makes the limits of the tasks ready for a place. It refuses what
// Judge would not judge.
func NewSieve(l Limits, p Place, tasks []Task, panel *Panel) (*Sieve, error) {
	if len(tasks) == 0 || len(tasks) > mostTasks {
		return nil, fault.Bad("tasks", "", "one to eight tasks")
	}
	v := &Sieve{tasks: slices.Clone(tasks), warm: math.Inf(-1)}
	for i, task := range tasks {
		make := rulesOf
		if i == 0 || !task.Outdoor() { // the limits are checked once
			make = rulesFor
		}
		rs, err := make(l, p, task, panel)
		if err != nil {
			return nil, err
		}
		v.rules = append(v.rules, rs)
	}
	levels := map[*steps][]level{}
	for t := range v.rules {
		rs := &v.rules[t]
		for i := range rs.hourly {
			v.add(levels, rs, &rs.hourly[i], 8*uint(t))
		}
	}
	for s, list := range levels {
		s.build(list)
	}
	return v, nil
}

// Tasks gives the tasks in the order of the bytes of Marks.
func (v *Sieve) Tasks() []Task { return v.tasks }

// level is one level of one task.
type level struct {
	at   float64
	mark Marks
}

func (v *Sieve) add(levels map[*steps][]level, rs *rules, r *rule, shift uint) {
	var s *steps
	factor := 1.0
	switch r.Quantity {
	case WindMean:
		s, factor = &v.mean, rs.factors.mean
	case WindGust:
		s, factor = &v.gust, rs.factors.gust
	case Rain:
		s = &v.rain
	case RecentRain:
		s = v.recentOf(levels, r.Hours)
	case Temperature:
		s = &v.temp
	case FrostRisk:
		s = &v.frost
	case Lightning:
		s = &v.thunder
	case RoofFilm:
		s = &v.film
	case Heat:
		s = &v.heat
	case Cold:
		s = &v.cold
		for _, l := range []Value{r.Caution, r.Stop} {
			if l.Known {
				v.warm = max(v.warm, warmest(l.N, WindRange.High*rs.factors.mean))
			}
		}
	case Visibility:
		s = &v.sees
	case StepLength:
		v.always |= markOf(r.level(Is(1))) << shift
		return
	default: // daylight is asked by Light
		return
	}
	s.low = r.Quantity.LowStops()
	s.unknown |= markOf(r.level(Value{})) << shift
	if r.Caution.Known {
		levels[s] = append(levels[s], level{inForecast(r.Caution.N, factor), markCaution << shift})
	}
	if r.Stop.Known {
		levels[s] = append(levels[s], level{inForecast(r.Stop.N, factor), markStop << shift})
	}
}

// recentOf gives the levels of rain within so many hours before. The list may
// move as it grows, so it is sized for all tasks at once.
func (v *Sieve) recentOf(levels map[*steps][]level, hours int) *steps {
	if v.recent == nil {
		v.recent = make([]recentSteps, 0, mostTasks)
	}
	i := slices.IndexFunc(v.recent, func(r recentSteps) bool { return r.hours == hours })
	if i < 0 {
		i = len(v.recent)
		v.recent = append(v.recent, recentSteps{hours: hours})
	}
	return &v.recent[i].steps
}

func markOf(v Verdict) Marks {
	switch v {
	case Stop:
		return markStop
	case Unknown:
		return markUnknown
	case Caution:
		return markCaution
	default:
		return 0
	}
}

// inForecast gives the smallest number that times the factor reaches the level,
// so that comparing with it is the same as comparing the product.
func inForecast(level, factor float64) float64 {
	at := level / factor
	for at*factor < level {
		at = math.Nextafter(at, math.Inf(1))
	}
	for down := math.Nextafter(at, math.Inf(-1)); down*factor >= level; down = math.Nextafter(at, math.Inf(-1)) {
		at = down
	}
	return at
}

// warmest gives the air temperature [C] above which no wind up to the strongest
// [m/s] makes it feel as cold as a level.
func warmest(level, strongest float64) float64 {
	for t := level; t <= 10; t += 0.5 {
		if chill := WindChill(t, strongest); chill.Known && chill.N > level && t > level {
			return t
		}
	}
	return 10
}

func (s *steps) build(list []level) {
	slices.SortStableFunc(list, func(a, b level) int {
		if s.low {
			return cmp.Compare(b.at, a.at)
		}
		return cmp.Compare(a.at, b.at)
	})
	var all Marks
	for _, l := range list {
		all |= l.mark
		if n := len(s.at); n > 0 && s.at[n-1] == l.at {
			s.marks[n-1] = all
			continue
		}
		s.at, s.marks = append(s.at, l.at), append(s.marks, all)
	}
}

// Light works out the sun of the place for the hours of a grid: call it once
// for each place and grid, before Member.
func (v *Sieve) Light(g *Grid, loc *time.Location) {
	v.low, v.clear, v.bright = v.low[:0], v.clear[:0], v.bright[:0]
	p := v.rules[0].place
	light := daylightAt(p, loc)
	dark := slices.ContainsFunc(g.Radiation, func(v float64) bool { return v != v }) // somewhere the sun has to be worked out
	for k := range g.Hours {
		from := g.From.Add(time.Duration(k) * time.Hour)
		v.low = append(v.low, SunHeight(from, p.Lat, p.Lon) < lowSun)
		clear := 0.0
		if dark {
			clear = clearSun(from.Add(time.Hour/2), p.Lat, p.Lon)
		}
		v.clear = append(v.clear, clear)
		margin := light.margin(from, from.Add(time.Hour))
		var m Marks
		for t := range v.rules {
			for i := range v.rules[t].hourly {
				if r := &v.rules[t].hourly[i]; r.Quantity == Daylight {
					m |= markOf(r.level(margin)) << (8 * uint(t))
				}
			}
		}
		v.bright = append(v.bright, m)
	}
}

// Bright gives what daylight says of each hour of the grid that Light was
// called for; Member leaves it out, since it is the same for all.
func (v *Sieve) Bright() []Marks { return v.bright }

// Member judges every hour of one member, daylight left out, into out, which
// has room for the grid's hours. It allocates nothing.
func (v *Sieve) Member(g *Grid, member int, out []Marks) {
	at := member * g.Hours
	end := at + g.Hours
	mean, gust, rain, temp := g.WindMean[at:end], g.WindGust[at:end], g.Rain[at:end], g.Temp[at:end]
	dew, humidity, cloud, thunder := g.DewPoint[at:end], g.Humidity[at:end], g.Cloud[at:end], g.Thunder[at:end]
	film, dry := filmCapacity, 0
	factor := v.rules[0].factors.mean
	for k := range out[:g.Hours] {
		m := v.always | v.mean.of(mean[k]) | v.gust.of(gustAt(mean[k], gust[k])) | v.rain.of(rain[k]) | v.temp.of(temp[k]) | v.thunder.of(thunder[k])
		for i := range v.recent {
			r := &v.recent[i]
			m |= r.of(sumBefore(rain, k, r.hours))
		}
		if v.frost.asked() {
			m |= v.frost.of(frostAt(temp[k], dew[k], cloud[k], mean[k], v.low[k], dry >= frostHours && rain[k] == 0))
		}
		if v.heat.asked() {
			m |= v.heat.of(heatAt(temp[k], humidity[k]))
		}
		if v.cold.asked() && !(temp[k] > v.warm) {
			m |= v.cold.of(coldAt(temp[k], mean[k]*factor))
		}
		if v.film.asked() {
			a := air{rain[k], temp[k], humidity[k], mean[k], cloud[k], g.Radiation[at+k]}
			if a.sun != a.sun {
				a.sun = sunUnder(v.clear[k], a.cloud)
			}
			after := filmStep(film, 1, a).After
			m |= v.film.of(max(film, after))
			film = after
		}
		if v.sees.asked() {
			m |= v.sees.of(g.Visibility[at+k])
		}
		if dry++; rain[k] != 0 {
			dry = 0
		}
		out[k] = m
	}
}

// frostHours is frostMemory in hours.
const frostHours = int(frostMemory / time.Hour)

// gustAt is gustOrEstimate for plain numbers.
func gustAt(mean, gust float64) float64 {
	switch {
	case gust != gust && mean != mean:
		return gust
	case gust != gust:
		return GustFrom(mean)
	case mean > gust:
		return mean
	}
	return gust
}

// sumBefore adds up the rain of the hours before one, in the order in which
// rainBefore does; NaN when one is not known.
func sumBefore(rain []float64, k, hours int) float64 {
	if k < hours {
		return math.NaN()
	}
	sum := 0.0
	for i := k - 1; i >= k-hours; i-- {
		sum += rain[i]
	}
	return sum
}

// frostAt is frostMargin for plain numbers.
func frostAt(temp, dew, cloud, mean float64, low, dry bool) float64 {
	surface := temp
	if low {
		clear, calm := 1.0, 1.0
		if cloud == cloud {
			clear = 1 - min(100, max(0, cloud))/100
		}
		if mean == mean {
			calm = 1 - min(1, max(0, mean)/calmEnds)
		}
		surface -= mostRoofCooling * clear * calm
	}
	if dry && dew == dew && temp == temp {
		return max(surface, surface-dew)
	}
	return surface
}

func heatAt(temp, humidity float64) float64 {
	if temp < warmFrom || temp != temp {
		return temp
	}
	return orNaN(HeatIndex(temp, humidity))
}

func coldAt(temp, mean float64) float64 {
	switch {
	case temp > 10 || temp != temp:
		return temp
	case mean != mean:
		return mean
	}
	if chill := WindChill(temp, mean); chill.Known {
		return min(temp, chill.N)
	}
	return temp
}

// Passes tells whether a stretch of an hour's marks lets a task run: no stop,
// and nothing that a stop hangs on unknown.
func Passes(marks []Marks, task int) Verdict {
	var all Marks
	for _, m := range marks {
		all |= m
	}
	switch of := (all & against) >> (8 * uint(task)); {
	case of&markStop != 0:
		return Stop
	case of&markUnknown != 0:
		return Unknown
	}
	return Go
}
