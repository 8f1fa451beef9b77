package schedule

import (
	"errors"
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// ReadInstance reads what WriteInstance writes. Everything is held against its
// bounds; each fault names its path in the document, the value and what would
// be right. Members that the form does not know, members given twice, and names
// of nothing in the file are faults. An identifier that is left out is made
// from the name.
func ReadInstance(text []byte) (Snapshot, error) {
	f, err := decodeForm[instanceForm](text, instanceName)
	if err != nil {
		return Snapshot{}, err
	}
	r := newFormReader()
	r.header(f.Form, f.Version, instanceName)
	r.sweep(reflect.ValueOf(f), "")
	if err := r.err(); err != nil {
		return Snapshot{}, err
	}
	s := Snapshot{Now: time.Time(f.Now), FirstDay: f.FirstDay.date(), Days: *f.Days, Frozen: *f.Frozen, Firm: Firm{TimeZone: f.TimeZone}}
	r.head(&s, f.Rates)
	for i, d := range f.Holidays {
		if d == "" {
			r.add(at("holidays", i), "null", "a date")
		}
		s.Holidays = append(s.Holidays, Holiday{Day: d.date()})
	}
	for i := range f.Crews {
		s.Crews = append(s.Crews, r.crew(&f.Crews[i], at("crews", i)))
	}
	for i := range f.Scaffold {
		s.ScaffoldFirms = append(s.ScaffoldFirms, r.scaffold(&f.Scaffold[i], at("scaffold_firms", i)))
	}
	for i := range f.Jobs {
		s.Jobs = append(s.Jobs, r.job(&f.Jobs[i], at("jobs", i)))
	}
	for i := range f.Bookings {
		s.Bookings = append(s.Bookings, r.booking(&f.Bookings[i], at("bookings", i)))
	}
	for i := range f.Refused {
		s.Refused = append(s.Refused, r.refusedDay(&f.Refused[i], at("refused_days", i)))
	}
	for i := range f.Outlooks {
		s.Outlooks = append(s.Outlooks, r.outlook(&f.Outlooks[i], at("outlooks", i)))
	}
	for i := range f.Jobs {
		for k := range f.Jobs[i].Pins {
			s.Pins = append(s.Pins, r.pin(&f.Jobs[i].Pins[k], s.Jobs[i].ID, at(at("jobs", i)+".pins", k)))
		}
	}
	for i, l := range f.Travel {
		if !(*l.Km >= 0 && *l.Km <= mostKm) {
			r.add(at("travel", i)+".km", fmt.Sprint(*l.Km), fmt.Sprintf("0 to %d km by road", mostKm))
		}
		s.Travel = append(s.Travel, Leg{l.From, l.To, *l.Km})
	}
	for i := range f.Offers {
		s.Offers = append(s.Offers, r.offer(&f.Offers[i], at("held_offers", i)))
	}
	if f.Published != nil {
		base := r.plan(f.Published, "published.")
		s.Base = &base
	}
	if err := r.err(); err != nil {
		return Snapshot{}, err
	}
	return s, s.check() // what the form cannot say, such as a first day before today
}

// ReadPlan reads what WritePlan writes: a plan of the snapshot, whose names it
// uses. Whether the plan keeps the rules is Validate's business: a bad plan can
// be read, priced and judged.
func ReadPlan(s Snapshot, text []byte) (Plan, error) {
	f, err := decodeForm[planForm](text, planName)
	if err != nil {
		return Plan{}, err
	}
	names, err := refsOf(&s)
	if err != nil {
		return Plan{}, err
	}
	r := newFormReader()
	for id, name := range names.jobs {
		r.jobs[name] = id
	}
	for id, name := range names.crews {
		r.crews[name] = id
	}
	for id, name := range names.firms {
		r.firms[name] = id
	}
	r.header(f.Form, f.Version, planName)
	r.sweep(reflect.ValueOf(f), "")
	if err := r.err(); err != nil {
		return Plan{}, err
	}
	p := r.plan(&f, "")
	return p, r.err()
}

// decodeForm reads one document strictly.
func decodeForm[T any](text []byte, want string) (form T, err error) {
	if len(text) > MostFileBytes {
		return form, fault.Bad("file", fmt.Sprintf("%d bytes", len(text)), fmt.Sprintf("at most %d bytes", MostFileBytes))
	}
	if err := isForm(text, want); err != nil {
		return form, err
	}
	err = json.Unmarshal(text, &form, json.RejectUnknownMembers(true))
	if err != nil {
		return form, notForm(err, text)
	}
	return form, nil
}

// formWords say what the files of a form hold.
var formWords = map[string]string{instanceName: "an instance", planName: "a plan"}

// isForm refuses a document that says it is of another form of ours, before its
// members are held against the one that is asked for.
func isForm(text []byte, want string) error {
	var head struct {
		Form string `json:"form"`
	}
	if json.Unmarshal(text, &head) != nil || head.Form == want || formWords[head.Form] == "" {
		return nil // the strict reading says what is wrong, and where
	}
	return fault.Bad("form", head.Form, fmt.Sprintf("%q: the file is %s, %s is asked for", want, formWords[head.Form], formWords[want]))
}

// notForm says where a document cannot be read, and what would be right.
func notForm(err error, text []byte) error {
	var slip *jsontext.SyntacticError
	if errors.As(err, &slip) {
		where := "line " + strconv.Itoa(1+strings.Count(string(text[:min(int(slip.ByteOffset), len(text))]), "\n"))
		if p := pathOf(slip.JSONPointer); p != "" {
			where += " (" + p + ")"
		}
		if errors.Is(err, jsontext.ErrDuplicateName) {
			return fault.Bad(where, "", "each member once")
		}
		return fault.Bad(where, "", "one JSON document (RFC 8259): "+slip.Err.Error())
	}
	var wrong *json.SemanticError
	if !errors.As(err, &wrong) {
		return fault.Bad("file", "", "a JSON document: "+err.Error())
	}
	path, value := pathOf(wrong.JSONPointer), shortened(string(wrong.JSONValue))
	if path == "" {
		path = "document"
	}
	var known *fault.Error
	switch {
	case errors.Is(err, json.ErrUnknownName):
		return fault.Bad(path, "", "no such member in this form: look for a slip, or take it out")
	case errors.As(err, &known):
		return fault.Bad(path, known.Value, known.Want)
	}
	if value == "" {
		value = kindWords[wrong.JSONKind]
	}
	return fault.Bad(path, value, wantOf(wrong.GoType))
}

var kindWords = map[jsontext.Kind]string{'n': "null", 'f': "false", 't': "true", '"': "a text", '0': "a number", '{': "an object", '[': "a list"}

func wantOf(t reflect.Type) string {
	if t == nil {
		return "another value"
	}
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch t {
	case reflect.TypeFor[formHalfDay]():
		return wantFormHalfDay
	case reflect.TypeFor[formID]():
		return "an identifier (a UUID), or leave it out"
	}
	switch t.Kind() {
	case reflect.Int, reflect.Int64, reflect.Uint64:
		return "a whole number"
	case reflect.Float64:
		return "a number"
	case reflect.Bool:
		return "true or false"
	case reflect.String:
		return "a text"
	case reflect.Slice:
		return "a list"
	}
	return "an object"
}

// pathOf writes a JSON pointer (RFC 6901) as people write paths:
// jobs[12].stages[0].half_days.
func pathOf(p jsontext.Pointer) string {
	var b strings.Builder
	for token := range p.Tokens() {
		if n, err := strconv.Atoi(token); err == nil && n >= 0 && b.Len() > 0 {
			fmt.Fprintf(&b, "[%d]", n)
			continue
		}
		if b.Len() > 0 {
			b.WriteByte('.')
		}
		b.WriteString(shortened(token))
	}
	return b.String()
}

func at(list string, i int) string { return fmt.Sprintf("%s[%d]", list, i) }

// formReader turns forms into facts and gathers what is wrong with them.
type formReader struct {
	bad                       []error
	jobs, crews, firms, sites map[string]uuid.UUID
}

func newFormReader() *formReader {
	return &formReader{jobs: map[string]uuid.UUID{}, crews: map[string]uuid.UUID{}, firms: map[string]uuid.UUID{}, sites: map[string]uuid.UUID{}}
}

// mostFaults is how many faults are told: whoever reads more has the wrong file.
const mostFaults = 50

func (r *formReader) add(path, value, want string) {
	if len(r.bad) < mostFaults {
		r.bad = append(r.bad, fault.Bad(path, shortened(value), want))
	}
}

func (r *formReader) err() error { return errors.Join(r.bad...) }

func (r *formReader) header(form string, version *int, want string) {
	if form != want {
		r.add("form", form, fmt.Sprintf("%q: this is another kind of file", want))
	}
	if version == nil || *version != formVersion {
		value := ""
		if version != nil {
			value = strconv.Itoa(*version)
		}
		r.add("version", value, fmt.Sprintf("%d: this program reads no other", formVersion))
	}
}

// Bounds of lists.
const (
	mostListed   = 100_000 // elements of any list
	mostHalfDays = 1_000   // of one visit
)

// sweep finds members that must be given and are not, and lists without end.
func (r *formReader) sweep(v reflect.Value, path string) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			r.sweep(v.Elem(), path)
		}
	case reflect.Slice:
		if v.Len() > mostListed {
			r.add(path, fmt.Sprintf("%d elements", v.Len()), fmt.Sprintf("at most %d", mostListed))
		}
		if v.Type().Elem().Kind() == reflect.Struct {
			for i := range v.Len() {
				r.sweep(v.Index(i), at(path, i))
			}
		}
	case reflect.Struct:
		for i := range v.NumField() {
			name, options, tagged := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
			if name == "" {
				continue // no form, such as an instant
			}
			if path != "" {
				name = path + "." + name
			}
			if field := v.Field(i); field.Kind() == reflect.Pointer && field.IsNil() && !tagged && options == "" {
				r.add(name, "", "missing: it must be given")
			} else {
				r.sweep(field, name)
			}
		}
	}
}

// head checks what stands before the lists.
func (r *formReader) head(s *Snapshot, rates jsontext.Value) {
	if !s.FirstDay.Known() {
		r.add("first_day", "null", "the first day to plan")
	}
	r.within("days", s.Days, 1, 400)
	r.within("frozen_working_days", s.Frozen, 0, 60)
	if _, err := s.Firm.Location(); err != nil || s.Firm.TimeZone == "" || s.Firm.TimeZone == "Local" {
		r.add("time_zone", s.Firm.TimeZone, "a zone of the IANA list, such as Europe/London")
	}
	r.rates(&s.Firm.Rates, rates)
}

// rates must all be given: a rate that is missing is not one of nothing.
func (r *formReader) rates(to *Rates, text jsontext.Value) {
	if text.Kind() != '{' {
		r.add("rates", string(text), "an object with every rate")
		return
	}
	given := map[string]jsontext.Value{}
	if err := json.Unmarshal(text, &given); err != nil {
		r.add("rates", "", "an object with every rate")
		return
	}
	for i := range reflect.TypeFor[Rates]().NumField() {
		name, _, _ := strings.Cut(reflect.TypeFor[Rates]().Field(i).Tag.Get("json"), ",")
		if value, ok := given[name]; !ok || value.Kind() == 'n' {
			r.add("rates."+name, "", "missing: it must be given")
		}
	}
	if err := json.Unmarshal(text, to, json.RejectUnknownMembers(true)); err != nil {
		bad := fault.Each(notForm(err, text))[0]
		r.add("rates."+bad.Field, bad.Value, bad.Want)
	}
}

func (r *formReader) within(path string, n, from, to int) int {
	if n < from || n > to {
		r.add(path, strconv.Itoa(n), fmt.Sprintf("%d to %d", from, to))
	}
	return n
}

func (r *formReader) pence(path string, p Pence) Pence {
	if p < 0 || p > mostPence {
		r.add(path, strconv.FormatInt(int64(p), 10), fmt.Sprintf("0 to %d pence", int64(mostPence)))
	}
	return p
}

func (r *formReader) place(path string, lat, lon float64) (float64, float64) {
	if !(lat >= -90 && lat <= 90) {
		r.add(path+"lat", fmt.Sprint(lat), "-90 to 90 degrees")
	}
	if !(lon >= -180 && lon <= 180) {
		r.add(path+"lon", fmt.Sprint(lon), "-180 to 180 degrees")
	}
	return lat, lon
}

// word checks a text that is one of a few.
func word[T ~string](r *formReader, path, given string, of ...T) T {
	var known []string
	for _, w := range of {
		if given == string(w) {
			return w
		}
		known = append(known, string(w))
	}
	r.add(path, given, "one of "+strings.Join(known, ", "))
	return ""
}

func (r *formReader) stage(path, given string) StageKind {
	k, err := StageFromKey(given)
	if err != nil {
		r.add(path, given, fault.Each(err)[0].Want)
	}
	return k
}

// formSpace is the name space (RFC 9562) of identifiers that are made from a
// name because the file gives none.
var formSpace = uuid.MustParse("6f1d0c62-6c0e-5c1b-9d1e-0a1b54c5a7e1")

// identify takes the identifier that is given, or makes it, and keeps the name.
func (r *formReader) identify(path, what, name string, id formID, names map[string]uuid.UUID) uuid.UUID {
	if !goodRef(name) {
		r.add(path+".ref", name, wantRef)
	} else if _, twice := names[name]; twice {
		r.add(path+".ref", name, "each "+what+" once")
	}
	of := orMade(id, what, name)
	names[name] = of
	return of
}

func orMade(id formID, what, name string) uuid.UUID {
	if uuid.UUID(id) != uuid.Nil {
		return uuid.UUID(id)
	}
	return uuid.NewSHA1(formSpace, []byte(what+"\n"+name))
}

// find gives what a name stands for. An identifier stands for itself: the thing
// need not be in the file.
func (r *formReader) find(path, what, name string, names map[string]uuid.UUID) uuid.UUID {
	if id, ok := names[name]; ok {
		return id
	}
	if id, err := uuid.Parse(name); err == nil && id.String() == name {
		return id
	}
	r.add(path, name, "the ref of a "+what+" of the file, or the identifier (a UUID) of one that is not in it")
	return uuid.Nil
}

func (r *formReader) crew(f *crewForm, path string) Crew {
	c := Crew{ID: r.identify(path, "crew", f.Ref, f.ID, r.crews), Name: f.Ref, HalfDayCost: r.pence(path+".half_day_cost_pence", *f.HalfDayCost), Active: *f.Active}
	switch word(r, path+".trade", f.Trade, "roof", "electrical") {
	case "roof":
		c.Trade = RoofTrade
	case "electrical":
		c.Trade = ElectricalTrade
	}
	c.HomeLat, c.HomeLon = r.place(path+".home_", *f.HomeLat, *f.HomeLon)
	for i := range f.Members {
		c.Members = append(c.Members, r.member(&f.Members[i], at(path+".members", i), f.Ref+"\n"+strconv.Itoa(i)))
	}
	return c
}

func (r *formReader) member(f *memberForm, path, name string) Membership {
	m := Membership{Person: Person{ID: orMade(f.ID, "person", name), Active: *f.Active}, From: f.From.date(), Until: f.Until.date(), Lead: *f.Lead}
	for i, a := range f.Absences {
		if a.From == "" || a.Until == "" {
			r.add(at(path+".absences", i), "", "its first and its last day")
		}
		m.Absences = append(m.Absences, Absence{From: a.From.date(), Until: a.Until.date()})
	}
	for _, k := range f.Skills {
		m.Skills = append(m.Skills, Skill{Kind: k.Skill, From: k.From.date(), Until: k.Until.date()})
	}
	return m
}

func (r *formReader) scaffold(f *scaffoldForm, path string) ScaffoldFirm {
	number := func(name string, n int) int { return r.within(path+"."+name, n, 0, 1000) }
	off, err := WeekdaysOf(f.DaysOff)
	if err != nil {
		r.add(path+".days_off", strings.Join(f.DaysOff, ", "), "one to four of "+strings.Join(WeekdayKeys(), ", ")+", each once; left out = none")
	}
	s := ScaffoldFirm{
		ID: r.identify(path, "scaffold firm", f.Ref, f.ID, r.firms), Name: f.Ref,
		GangsPerDay: number("gangs_per_day", *f.GangsPerDay), Sets: number("sets", *f.Sets),
		ErectNotice: number("erect_notice_working_days", *f.ErectNotice), StrikeNotice: number("strike_notice_working_days", *f.StrikeNotice),
		VisitPrice: r.pence(path+".visit_price_pence", *f.VisitPrice), IncludedWeeks: number("included_weeks", *f.IncludedWeeks),
		WeeklyHire: r.pence(path+".weekly_hire_pence", *f.WeeklyHire), Active: *f.Active, DaysOff: off,
		CancelNotice: number("cancel_notice_working_days", f.CancelNotice), CancelCharge: r.pence(path+".cancel_charge_pence", f.CancelCharge),
		GustLimit: f.GustLimit,
	}
	switch {
	case f.ReachKm != nil && f.YardLat != nil && f.YardLon != nil:
		s.ReachKm = r.within(path+".reach_km", *f.ReachKm, 1, mostReachKm)
		s.YardLat, s.YardLon = r.place(path+".yard_", *f.YardLat, *f.YardLon)
	case f.ReachKm != nil || f.YardLat != nil || f.YardLon != nil:
		r.add(path+".reach_km", "", "yard_lat, yard_lon and reach_km together, or none of them: it goes anywhere")
	}
	return s
}

func (r *formReader) job(f *jobForm, path string) Job {
	j := Job{ID: r.identify(path, "job", f.Ref, f.ID, r.jobs), Ref: f.Ref, State: word(r, path+".state", f.State, JobOpen, JobDone, JobCancelled),
		ReadyOn: f.ReadyOn.date(), PromisedOn: f.PromisedOn.date(), PromiseTold: f.Told}
	j.Site.ID = orMade(f.Site, "site", f.Ref)
	r.sites[f.Ref] = j.Site.ID
	j.Site.Lat, j.Site.Lon = r.place(path+".", *f.Lat, *f.Lon)
	seen := map[StageKind]bool{}
	for i, st := range f.Stages {
		p := at(path+".stages", i)
		one := Stage{Kind: r.stage(p+".stage", st.Stage), HalfDays: r.within(p+".half_days", *st.HalfDays, 1, 40), StartedOn: st.StartedOn.date(), DoneOn: st.DoneOn.date()}
		switch word(r, p+".state", st.State, "planned", "started", "done") {
		case "started":
			one.State = StateStarted
		case "done":
			one.State = StateDone
		}
		if seen[one.Kind] {
			r.add(p+".stage", st.Stage, "each stage once")
		}
		seen[one.Kind] = true
		j.Stages = append(j.Stages, one)
	}
	for i, c := range f.Consents {
		p := at(path+".consents", i)
		j.Consents = append(j.Consents, Consent{
			Kind:  word(r, p+".consent", c.Consent, GridConnection, BuildingControl, Planning, Landlord, HighwayLicence),
			Stage: r.stage(p+".stage", c.Stage), State: word(r, p+".state", c.State, ConsentWanted, ConsentApplied, ConsentGranted, ConsentRefused),
			ExpectedOn: c.ExpectedOn.date(), GrantedOn: c.GrantedOn.date(),
		})
	}
	for _, k := range f.Kit {
		j.Kit = append(j.Kit, Kit{Item: k.Item, DueOn: k.DueOn.date(), ArrivedOn: k.ArrivedOn.date()})
	}
	for i, c := range f.Confirmed {
		j.Confirmed = append(j.Confirmed, Confirmation{Stage: r.stage(at(path+".customer_confirmed", i)+".stage", c.Stage), On: c.On.date()})
	}
	return j
}

func (r *formReader) pin(f *pinForm, job uuid.UUID, path string) Pin {
	p := Pin{ID: uuid.UUID(f.ID), Job: job, Kind: word(r, path+".pin", f.Pin, PinKinds...), On: f.On.date()}
	if f.Stage != "" {
		p.Stage = r.stage(path+".stage", f.Stage)
	}
	switch {
	case f.Crew != "":
		p.Who = r.find(path+".crew", "crew", f.Crew, r.crews)
	case f.ScaffoldFirm != "":
		p.Who = r.find(path+".scaffold_firm", "scaffold firm", f.ScaffoldFirm, r.firms)
	}
	if f.Half != "" && word(r, path+".half", f.Half, "am", "pm") == "pm" {
		p.Half = civil.Afternoon
	}
	if p.Kind.HasDay() && !p.On.Known() {
		r.add(path+".on", "null", "the day that the pin is about")
	}
	return p
}

func (r *formReader) booking(f *bookingForm, path string) Booking {
	b := Booking{
		Job: r.find(path+".job", "job", f.Job, r.jobs), ScaffoldFirm: r.find(path+".scaffold_firm", "scaffold firm", f.ScaffoldFirm, r.firms), UID: f.UID,
		State:   word(r, path+".state", f.State, BookingWanted, BookingSent, BookingConfirmed, BookingCountered, BookingRefused, BookingErected, BookingStruck, BookingCancelled),
		ErectOn: f.ErectOn.date(), StrikeOn: f.StrikeOn.date(), OfferedOn: f.OfferedOn.date(),
	}
	if f.ErectOn == "" {
		r.add(path+".erect_on", "null", "the day of the erection")
	}
	if f.StrikeOn == "" {
		r.add(path+".strike_on", "null", "the day of the strike")
	}
	return b
}

func (r *formReader) refusedDay(f *refusedForm, path string) RefusedDay {
	if f.On == "" {
		r.add(path+".on", "null", "the day that was refused")
	}
	return RefusedDay{Job: r.find(path+".job", "job", f.Job, r.jobs), ScaffoldFirm: r.find(path+".scaffold_firm", "scaffold firm", f.ScaffoldFirm, r.firms), On: f.On.date()}
}

func (r *formReader) outlook(f *outlookForm, path string) Outlook {
	o := Outlook{Site: r.find(path+".site", "job", f.Site, r.sites)}
	if f.By != "" {
		o.By = r.find(path+".scaffold_firm", "scaffold firm", f.By, r.firms)
	}
	if err := o.Task.UnmarshalText([]byte(f.Task)); err != nil || !o.Task.Outdoor() {
		r.add(path+".task", f.Task, "one of scaffold_erection, scaffold_strike, panel_carrying")
	}
	var ok bool
	if o.First, ok = f.First.halfDay(); !ok {
		r.add(path+".first", string(f.First), wantFormHalfDay)
	}
	o.Chances = make([]weather.Chance, len(f.Chances))
	for i, c := range f.Chances {
		o.Chances[i] = chanceOf(c)
	}
	return o
}

func chanceOf(c formChance) weather.Chance {
	return weather.Chance{Known: c != 0, P: float64(c)}
}

// plan reads a plan; path is what stands before its members.
func (r *formReader) plan(f *planForm, path string) Plan {
	p := Plan{ID: uuid.UUID(f.ID), Version: f.Number, State: PlanState(f.State), Base: uuid.UUID(f.Base), FirstDay: f.FirstDay.date(), Days: r.within(path+"days", *f.Days, 1, 400),
		Seed: f.Seed, Schedules: f.Schedules, Hash: [32]byte(f.Facts)}
	if f.State != "" {
		word(r, path+"state", f.State, Draft, Published, Superseded, Dropped)
	}
	if f.FirstDay == "" {
		r.add(path+"first_day", "null", "the first day that is planned")
	}
	for i := range f.Visits {
		p.Visits = append(p.Visits, r.visit(&f.Visits[i], at(path+"visits", i)))
	}
	for i, u := range f.LeftOut {
		one := at(path+"left_out", i)
		p.Unplanned = append(p.Unplanned, Unplanned{Job: r.find(one+".job", "job", u.Job, r.jobs), Stage: r.stage(one+".stage", u.Stage), Why: u.Why})
	}
	if f.Cost != nil {
		p.Cost.Total = *f.Cost.Total
		for i, l := range f.Cost.Lines {
			p.Cost.Lines = append(p.Cost.Lines, r.costLine(&l, at(path+"cost.lines", i)))
		}
	}
	return p
}

// offer reads what an offer keeps free; its job is not in the file.
func (r *formReader) offer(f *offerForm, path string) HeldOffer {
	o := HeldOffer{ID: orMade(f.ID, "offer", path), State: OfferHeld}
	for i, v := range f.Visits {
		one := visitForm{Job: o.ID.String(), Stage: v.Stage, Crew: v.Crew, ScaffoldFirm: v.ScaffoldFirm, HalfDays: v.HalfDays}
		o.Visits = append(o.Visits, r.visit(&one, at(path+".visits", i)))
		if len(v.HalfDays) == 0 {
			r.add(at(path+".visits", i)+".half_days", "", "the half-days that are kept")
		}
	}
	return o
}

func (r *formReader) visit(f *visitForm, path string) Visit {
	v := Visit{Job: r.find(path+".job", "job", f.Job, r.jobs), Stage: r.stage(path+".stage", f.Stage), Chance: chanceOf(f.Chance), Why: f.Why}
	if f.Crew != "" {
		v.Crew = r.find(path+".crew", "crew", f.Crew, r.crews)
	}
	if f.ScaffoldFirm != "" {
		v.ScaffoldFirm = r.find(path+".scaffold_firm", "scaffold firm", f.ScaffoldFirm, r.firms)
	}
	if len(f.HalfDays) > mostHalfDays {
		r.add(path+".half_days", fmt.Sprintf("%d elements", len(f.HalfDays)), fmt.Sprintf("at most %d", mostHalfDays))
		return v
	}
	if f.Reserve != nil {
		r.within(path+".reserve_half_days", *f.Reserve, 0, len(f.HalfDays))
	}
	for i, text := range f.HalfDays {
		h, ok := text.halfDay()
		if !ok {
			r.add(at(path+".half_days", i), string(text), wantFormHalfDay)
		}
		v.HalfDays = append(v.HalfDays, h)
	}
	return v
}

// mostLine bounds an amount so that no sum of them runs over.
const mostLine Pence = 1 << 40

func (r *formReader) costLine(f *costLineForm, path string) CostLine {
	l := CostLine{Item: CostItem(f.Item), Amount: *f.Amount, Why: f.Why}
	if f.Item == "" {
		r.add(path+".item", "", "what the amount is for, such as lateness")
	}
	if l.Amount < -mostLine || l.Amount > mostLine {
		r.add(path+".amount_pence", strconv.FormatInt(int64(l.Amount), 10), fmt.Sprintf("at most %d pence", int64(mostLine)))
	}
	if f.Job != "" {
		l.Job = r.find(path+".job", "job", f.Job, r.jobs)
	}
	if f.Crew != "" {
		l.Crew = r.find(path+".crew", "crew", f.Crew, r.crews)
	}
	return l
}
