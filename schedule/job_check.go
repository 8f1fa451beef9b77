package schedule

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// Bounds of a job's texts, in characters.
const (
	maxRef   = 60
	maxLine  = 200
	maxPhone = 60
	maxText  = 2000
	maxKit   = 40
	maxFacts = 200
)

// ConsentKinds lists every consent in the order in which they are shown.
var ConsentKinds = []ConsentKind{GridConnection, BuildingControl, Planning, Landlord, HighwayLicence}

// Words writes the consent in words: "grid connection".
func (k ConsentKind) Words() string { return strings.ReplaceAll(string(k), "_", " ") }

var (
	terrains      = []string{"0", "I", "II", "III", "IV"} // EN 1991-1-4 table 4.1
	jobStates     = []string{string(JobOpen), string(JobDone), string(JobCancelled)}
	consentStates = []string{string(ConsentWanted), string(ConsentApplied), string(ConsentGranted), string(ConsentRefused)}
	factKey       = regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)
)

// Check holds a job against the bounds that the database keeps as well, and
// some that it cannot. It gives every fault at once, joined; each Field is the
// name of a column of the jobs file.
func (j Job) Check() error {
	c := &bounds{}
	c.words(j)
	c.numbers(j)
	c.stages(j)
	c.consents(j)
	c.kit(j)
	c.facts(j.Site.Facts)
	return errors.Join(c.bad...)
}

// bounds gathers what is out of bounds, so that a person sees all of it at once.
type bounds struct{ bad []error }

func (c *bounds) add(field, value, want string) {
	c.bad = append(c.bad, fault.Bad(field, value, want))
}

// text holds a text against a length and against characters that nobody can
// see. The empty text is right unless must.
func (c *bounds) text(field, s string, most int, must, lines bool) {
	switch {
	case must && s == "":
		c.add(field, s, "this must be given")
	case s != strings.TrimSpace(s):
		c.add(field, s, "no blanks before or after it")
	case utf8.RuneCountInString(s) > most:
		c.add(field, clipped(s), fmt.Sprintf("at most %d characters, it has %d", most, utf8.RuneCountInString(s)))
	case strings.ContainsRune(s, utf8.RuneError):
		c.add(field, clipped(s), "a letter was lost when the text was stored or sent: type it again")
	case !lines && strings.ContainsRune(s, '\n'):
		c.add(field, clipped(s), "one line")
	case strings.ContainsFunc(s, func(r rune) bool { return unicode.IsControl(r) && r != '\n' }):
		c.add(field, clipped(s), "no control characters: delete it and type it again")
	}
}

func (c *bounds) words(j Job) {
	c.text("reference", j.Ref, maxRef, true, false)
	if strings.ContainsFunc(j.Ref, func(r rune) bool { return unicode.Is(unicode.Cf, r) }) {
		c.add("reference", j.Ref, "no invisible characters: delete it and type it again")
	}
	c.text("customer", j.Customer.Name, maxLine, true, false)
	c.text("customer e-mail", j.Customer.Email, 254, false, false)
	if e := j.Customer.Email; e != "" && !looksLikeEmail(e) {
		c.add("customer e-mail", e, "one address such as name@mail.example")
	}
	c.text("customer phone", j.Customer.Phone, maxPhone, false, false)
	c.text("address", j.Site.Address, 500, true, true)
	c.text("postcode", j.Site.Postcode, 20, false, false)
	c.text("note", j.Note, maxText, false, true)
	if !slices.Contains(jobStates, string(j.State)) {
		c.add("state", string(j.State), "one of "+strings.Join(jobStates, ", "))
	}
	if !slices.Contains(terrains, j.Site.Terrain) {
		c.add("terrain", j.Site.Terrain, "one of "+strings.Join(terrains, ", ")+" (EN 1991-1-4: 0 sea, I flat and bare, II open country, III villages and suburbs, IV dense town)")
	}
}

// looksLikeEmail is as strict as the mail that will be sent needs; whether the
// address exists only a mail can tell.
func looksLikeEmail(s string) bool {
	at := strings.LastIndexByte(s, '@')
	return at > 0 && strings.Count(s, "@") == 1 && strings.Contains(s[at:], ".") && !strings.ContainsAny(s, " ,;<>()\"") && !strings.HasSuffix(s, ".")
}

func (c *bounds) within(field string, x, low, high float64, above bool, unit string) {
	if x >= low && x <= high && (!above || x > low) {
		return
	}
	from := "from " + plainNumber(low)
	if above {
		from = "above " + plainNumber(low)
	}
	c.add(field, plainNumber(x), strings.TrimSpace(fmt.Sprintf("a number %s to %s %s", from, plainNumber(high), unit)))
}

func (c *bounds) numbers(j Job) {
	s := j.Site
	c.within("latitude", s.Lat, -90, 90, false, "degrees")
	c.within("longitude", s.Lon, -180, 180, false, "degrees")
	if s.Lat == 0 && s.Lon == 0 {
		c.add("latitude", "0", "the place of the roof: 0, 0 lies in the sea")
	}
	c.within("working height m", s.WorkingHeightM, 0, 60, true, "m")
	c.within("modules", float64(j.Modules), 1, 200, false, "modules")
	c.within("module watts", float64(j.ModuleWatts), 50, 1000, false, "W")
	c.within("module kg", j.ModuleKg, 0, 60, true, "kg")
	c.within("module m2", j.ModuleM2, 0, 5, true, "m2")
	c.day("ready on", j.ReadyOn)
	c.day("promised on", j.PromisedOn)
}

// day refuses days that are slips of the keyboard.
func (c *bounds) day(field string, d civil.Date) {
	if d.Known() && (d < civil.On(2000, 1, 1) || d > civil.On(2099, 12, 31)) {
		c.add(field, d.String(), "a day of the years 2000 to 2099")
	}
}

func (c *bounds) stages(j Job) {
	seen := map[StageKind]bool{}
	for _, s := range j.Stages {
		field := s.Kind.String() + " half-days"
		if s.Kind.Key() == "" || seen[s.Kind] {
			c.add(field, strconv.Itoa(s.HalfDays), "each stage once")
			continue
		}
		seen[s.Kind] = true
		c.within(field, float64(s.HalfDays), 1, 40, false, "half-days")
		c.progress(s)
	}
	switch {
	case len(j.Stages) == 0:
		c.add("roof work half-days", "", "at least one stage of the job needs its half-days")
	case seen[ScaffoldErection] != seen[ScaffoldStrike]:
		missing := map[bool]StageKind{true: ScaffoldStrike, false: ScaffoldErection}[seen[ScaffoldErection]]
		c.add(missing.String()+" half-days", "", "a scaffold that is erected is struck: give half-days to both or to none")
	}
}

func (c *bounds) progress(s Stage) {
	started, done := s.Kind.String()+" started on", s.Kind.String()+" done on"
	c.day(started, s.StartedOn)
	c.day(done, s.DoneOn)
	switch {
	case (s.State == StateDone) != s.DoneOn.Known():
		c.add(done, s.DoneOn.String(), "the day a finished stage was finished, and none for others")
	case s.State == StateStarted && !s.StartedOn.Known(), s.State == StatePlanned && s.StartedOn.Known():
		c.add(started, s.StartedOn.String(), "the day a started stage was started, and none for a planned one")
	case s.DoneOn.Known() && s.StartedOn.Known() && s.DoneOn < s.StartedOn:
		c.add(done, s.DoneOn.String(), "not before "+s.StartedOn.String()+", when it was started")
	}
}

func (c *bounds) consents(j Job) {
	seen := map[ConsentKind]bool{}
	for _, k := range j.Consents {
		field := k.Kind.Words()
		switch {
		case !slices.Contains(ConsentKinds, k.Kind) || seen[k.Kind]:
			c.add(field, string(k.State), "each known consent once")
		case !slices.Contains(consentStates, string(k.State)):
			c.add(field, string(k.State), "one of "+strings.Join(consentStates, ", "))
		case (k.State == ConsentGranted) != k.GrantedOn.Known():
			c.add(field+" granted on", k.GrantedOn.String(), "the day it was granted when it is granted, and none before")
		}
		seen[k.Kind] = true
		if _, has := j.Stage(k.Stage); !has {
			c.add(field+" stage", k.Stage.String(), "a stage that this job has: the one that waits for the consent")
		}
		c.day(field+" expected on", k.ExpectedOn)
		c.day(field+" granted on", k.GrantedOn)
	}
}

func (c *bounds) kit(j Job) {
	if len(j.Kit) > maxKit {
		c.add("kit", strconv.Itoa(len(j.Kit)), fmt.Sprintf("at most %d items", maxKit))
	}
	seen := map[string]bool{}
	for _, k := range j.Kit {
		field := "kit " + clipped(k.Item)
		c.text(field, k.Item, maxLine, true, false)
		if seen[k.Item] {
			c.add(field, k.Item, "each item once: add up the quantities")
		}
		seen[k.Item] = true
		c.within(field+" quantity", float64(k.Quantity), 1, 10_000, false, "")
		c.day(field+" due", k.DueOn)
		c.day(field+" arrived", k.ArrivedOn)
	}
}

func (c *bounds) facts(facts map[string]any) {
	if len(facts) > maxFacts {
		c.add("survey", strconv.Itoa(len(facts)), fmt.Sprintf("at most %d facts", maxFacts))
	}
	for _, key := range slices.Sorted(maps.Keys(facts)) {
		field, v := "survey "+key, facts[key]
		if !factKey.MatchString(key) || len(key) > maxRef {
			c.add(field, clipped(fmt.Sprint(v)), "a name of small letters, digits and single underscores, such as pitch_deg")
		}
		switch v := v.(type) {
		case bool, int:
		case float64:
			if math.IsNaN(v) || math.IsInf(v, 0) {
				c.add(field, fmt.Sprint(v), "a number")
			}
		case string:
			c.text(field, v, maxText, false, true)
		default:
			c.add(field, clipped(fmt.Sprint(v)), "yes or no, a number or a text")
		}
	}
}

// clipped cuts a value that is only shown.
func clipped(s string) string {
	const most = 60
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most]) + "…"
}
