package schedule

import (
	"bytes"
	"cmp"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/google/uuid"

	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// WriteInstance writes a snapshot in its JSON form: what planning, checking and
// pricing read, and nothing else. Names of customers and people, addresses,
// telephone numbers and why somebody is away are not in it; the positions of
// sites and homes are, since travel is part of the cost. The same facts give
// the same bytes. A snapshot that Solve would refuse is refused, and one in
// which two jobs, crews or scaffold firms have the same name.
func WriteInstance(s Snapshot) ([]byte, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	r, err := refsOf(&s)
	if err != nil {
		return nil, err
	}
	rates, err := json.Marshal(s.Firm.Rates)
	if err != nil {
		return nil, fmt.Errorf("write the rates: %w", err)
	}
	f := instanceForm{
		Form: instanceName, Version: new(formVersion), TimeZone: s.Firm.TimeZone, Now: formInstant(s.Now.UTC()),
		FirstDay: dayForm(s.FirstDay), Days: new(s.Days), Frozen: new(s.Frozen), Rates: rates,
	}
	for _, h := range s.Holidays {
		f.Holidays = append(f.Holidays, dayForm(h.Day))
	}
	slices.Sort(f.Holidays)
	for _, c := range s.Crews {
		f.Crews = append(f.Crews, crewFormOf(c))
	}
	slices.SortFunc(f.Crews, func(a, b crewForm) int { return cmp.Compare(a.Ref, b.Ref) })
	for _, x := range s.ScaffoldFirms {
		one := scaffoldForm{
			Ref: x.Name, ID: formID(x.ID), GangsPerDay: new(x.GangsPerDay), Sets: new(x.Sets), ErectNotice: new(x.ErectNotice), StrikeNotice: new(x.StrikeNotice),
			VisitPrice: new(x.VisitPrice), IncludedWeeks: new(x.IncludedWeeks), WeeklyHire: new(x.WeeklyHire), Active: new(x.Active), DaysOff: x.DaysOff.Names(),
			CancelNotice: x.CancelNotice, CancelCharge: x.CancelCharge, GustLimit: x.GustLimit,
		}
		if x.ReachKm > 0 {
			one.YardLat, one.YardLon, one.ReachKm = new(x.YardLat), new(x.YardLon), new(x.ReachKm)
		}
		f.Scaffold = append(f.Scaffold, one)
	}
	slices.SortFunc(f.Scaffold, func(a, b scaffoldForm) int { return cmp.Compare(a.Ref, b.Ref) })
	for i := range s.Jobs {
		one := jobFormOf(&s.Jobs[i])
		one.Pins = pinForms(s.Pins, s.Jobs[i].ID, r)
		f.Jobs = append(f.Jobs, one)
	}
	slices.SortFunc(f.Jobs, func(a, b jobForm) int { return cmp.Compare(a.Ref, b.Ref) })
	for _, b := range s.Bookings {
		f.Bookings = append(f.Bookings, bookingForm{
			Job: ref(r.jobs, b.Job), ScaffoldFirm: ref(r.firms, b.ScaffoldFirm), UID: b.UID, State: string(b.State),
			ErectOn: dayForm(b.ErectOn), StrikeOn: dayForm(b.StrikeOn), OfferedOn: dayForm(b.OfferedOn),
		})
	}
	slices.SortFunc(f.Bookings, func(a, b bookingForm) int {
		return cmp.Or(cmp.Compare(a.Job, b.Job), cmp.Compare(a.UID, b.UID), cmp.Compare(a.ErectOn, b.ErectOn))
	})
	for _, d := range s.Refused {
		f.Refused = append(f.Refused, refusedForm{Job: ref(r.jobs, d.Job), ScaffoldFirm: ref(r.firms, d.ScaffoldFirm), On: dayForm(d.On)})
	}
	slices.SortFunc(f.Refused, func(a, b refusedForm) int {
		return cmp.Or(cmp.Compare(a.Job, b.Job), cmp.Compare(a.ScaffoldFirm, b.ScaffoldFirm), cmp.Compare(a.On, b.On))
	})
	f.Outlooks = outlookForms(s.Outlooks, r)
	for _, l := range s.usefulLegs() {
		f.Travel = append(f.Travel, legForm{l.From, l.To, new(l.Km)})
	}
	slices.SortFunc(f.Travel, func(a, b legForm) int {
		return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To), cmp.Compare(*a.Km, *b.Km))
	})
	f.Offers = offerForms(s.Offers, r)
	if s.Base != nil {
		published := planFormOf(*s.Base, r)
		published.Cost = nil
		f.Published = &published
	}
	return inLines(f)
}

func crewFormOf(c Crew) crewForm {
	f := crewForm{Ref: c.Name, ID: formID(c.ID), Trade: c.Trade.Key(), HomeLat: new(c.HomeLat), HomeLon: new(c.HomeLon), HalfDayCost: new(c.HalfDayCost), Active: new(c.Active)}
	for _, m := range c.Members {
		one := memberForm{ID: formID(m.Person.ID), Lead: new(m.Lead), Active: new(m.Person.Active), From: dayForm(m.From), Until: dayForm(m.Until)}
		for _, a := range m.Absences {
			one.Absences = append(one.Absences, absenceForm{dayForm(a.From), dayForm(a.Until)})
		}
		slices.SortFunc(one.Absences, func(a, b absenceForm) int {
			return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.Until, b.Until))
		})
		for _, k := range m.Skills {
			one.Skills = append(one.Skills, skillForm{k.Kind, dayForm(k.From), dayForm(k.Until)})
		}
		slices.SortFunc(one.Skills, func(a, b skillForm) int {
			return cmp.Or(cmp.Compare(a.Skill, b.Skill), cmp.Compare(a.From, b.From), cmp.Compare(a.Until, b.Until))
		})
		f.Members = append(f.Members, one)
	}
	slices.SortFunc(f.Members, func(a, b memberForm) int {
		return cmp.Or(compareIDs(uuid.UUID(a.ID), uuid.UUID(b.ID)), cmp.Compare(a.From, b.From))
	})
	return f
}

func jobFormOf(j *Job) jobForm {
	f := jobForm{Ref: j.Ref, ID: formID(j.ID), State: string(j.State), Site: formID(j.Site.ID), Lat: new(j.Site.Lat), Lon: new(j.Site.Lon),
		ReadyOn: dayForm(j.ReadyOn), PromisedOn: dayForm(j.PromisedOn), Told: j.PromiseTold}
	stages := slices.Clone(j.Stages)
	slices.SortFunc(stages, func(a, b Stage) int { return cmp.Compare(a.Kind, b.Kind) })
	for _, st := range stages {
		f.Stages = append(f.Stages, stageForm{Stage: st.Kind.Key(), HalfDays: new(st.HalfDays), State: st.State.Key(), StartedOn: dayForm(st.StartedOn), DoneOn: dayForm(st.DoneOn)})
	}
	for _, c := range j.Consents {
		f.Consents = append(f.Consents, consentForm{string(c.Kind), c.Stage.Key(), string(c.State), dayForm(c.ExpectedOn), dayForm(c.GrantedOn)})
	}
	slices.SortFunc(f.Consents, func(a, b consentForm) int {
		return cmp.Or(cmp.Compare(a.Consent, b.Consent), cmp.Compare(a.Stage, b.Stage))
	})
	for _, k := range j.Kit {
		f.Kit = append(f.Kit, kitForm{k.Item, dayForm(k.DueOn), dayForm(k.ArrivedOn)})
	}
	for _, c := range j.Confirmed {
		f.Confirmed = append(f.Confirmed, confirmForm{c.Stage.Key(), dayForm(c.On)})
	}
	slices.SortFunc(f.Confirmed, func(a, b confirmForm) int { return cmp.Compare(a.Stage, b.Stage) })
	slices.SortFunc(f.Kit, func(a, b kitForm) int { return cmp.Or(cmp.Compare(a.Item, b.Item), cmp.Compare(a.DueOn, b.DueOn)) })
	return f
}

// offerForms writes what offers keep free, not for whom.
func offerForms(offers []HeldOffer, r refs) (list []offerForm) {
	for _, o := range offers {
		f := offerForm{ID: formID(o.ID)}
		for _, v := range o.Visits {
			one := heldVisitForm{Stage: v.Stage.Key(), Crew: ref(r.crews, v.Crew), ScaffoldFirm: ref(r.firms, v.ScaffoldFirm)}
			for _, h := range v.HalfDays {
				one.HalfDays = append(one.HalfDays, halfDayForm(h))
			}
			f.Visits = append(f.Visits, one)
		}
		list = append(list, f)
	}
	slices.SortFunc(list, func(a, b offerForm) int { return compareIDs(uuid.UUID(a.ID), uuid.UUID(b.ID)) })
	return list
}

func pinForms(pins []Pin, job uuid.UUID, r refs) (list []pinForm) {
	for _, p := range pins {
		if p.Job != job {
			continue
		}
		f := pinForm{ID: formID(p.ID), Pin: string(p.Kind), Stage: p.Stage.Key(), On: dayForm(p.On)}
		if p.Kind == PinStart {
			f.Half = [...]string{civil.Morning: "am", civil.Afternoon: "pm"}[p.Half]
		}
		switch {
		case p.Who == uuid.Nil:
		case p.Stage.Trade() == ScaffoldTrade:
			f.ScaffoldFirm = ref(r.firms, p.Who)
		default:
			f.Crew = ref(r.crews, p.Who)
		}
		list = append(list, f)
	}
	slices.SortFunc(list, func(a, b pinForm) int {
		return cmp.Or(cmp.Compare(a.Stage, b.Stage), cmp.Compare(a.Pin, b.Pin), cmp.Compare(a.On, b.On), compareIDs(uuid.UUID(a.ID), uuid.UUID(b.ID)))
	})
	return list
}

func outlookForms(outlooks []Outlook, r refs) (list []outlookForm) {
	for _, o := range outlooks {
		f := outlookForm{Site: ref(r.sites, o.Site), Task: o.Task.String(), First: halfDayForm(o.First), Chances: make([]formChance, len(o.Chances))}
		if o.By != uuid.Nil {
			f.By = ref(r.firms, o.By)
		}
		for i, c := range o.Chances {
			f.Chances[i] = chanceForm(c.Known, c.P)
		}
		list = append(list, f)
	}
	slices.SortStableFunc(list, func(a, b outlookForm) int {
		return cmp.Or(cmp.Compare(a.Site, b.Site), cmp.Compare(a.Task, b.Task), cmp.Compare(a.By, b.By))
	})
	return list
}

func chanceForm(known bool, p float64) formChance {
	if !known {
		return 0
	}
	return formChance(p)
}

// WritePlan writes a plan of a snapshot in its JSON form. Who made and who
// published it, and when, is not in it. The same plan gives the same bytes.
func WritePlan(s Snapshot, p Plan) ([]byte, error) {
	r, err := refsOf(&s)
	if err != nil {
		return nil, err
	}
	f := planFormOf(p, r)
	f.Form, f.Version = planName, new(formVersion)
	f.reserves(&s, p)
	return inLines(f)
}

// reserves says of each visit that has not begun how many of its half-days are
// kept for weather, where any are.
func (f *planForm) reserves(s *Snapshot, p Plan) {
	kept := map[[2]string]int{}
	for i := range s.Jobs {
		for _, v := range p.Visits {
			if st, has := s.Jobs[i].Stage(v.Stage); has && v.Job == s.Jobs[i].ID && st.State == StatePlanned {
				kept[[2]string{s.Jobs[i].Ref, v.Stage.Key()}] = v.Reserve(st.HalfDays)
			}
		}
	}
	for i := range f.Visits {
		if n := kept[[2]string{f.Visits[i].Job, f.Visits[i].Stage}]; n > 0 {
			f.Visits[i].Reserve = new(n)
		}
	}
}

func planFormOf(p Plan, r refs) planForm {
	f := planForm{Facts: formHash(p.Hash), ID: formID(p.ID), Number: p.Version, State: string(p.State), Base: formID(p.Base),
		FirstDay: dayForm(p.FirstDay), Days: new(p.Days), Seed: p.Seed, Schedules: p.Schedules}
	for _, v := range p.Visits {
		one := visitForm{Job: ref(r.jobs, v.Job), Stage: v.Stage.Key(), Crew: ref(r.crews, v.Crew), ScaffoldFirm: ref(r.firms, v.ScaffoldFirm),
			Chance: chanceForm(v.Chance.Known, v.Chance.P), Why: v.Why}
		for _, h := range v.HalfDays {
			one.HalfDays = append(one.HalfDays, halfDayForm(h))
		}
		f.Visits = append(f.Visits, one)
	}
	slices.SortStableFunc(f.Visits, func(a, b visitForm) int { return cmp.Or(cmp.Compare(a.Job, b.Job), byStage(a.Stage, b.Stage)) })
	for _, u := range p.Unplanned {
		f.LeftOut = append(f.LeftOut, leftOutForm{ref(r.jobs, u.Job), u.Stage.Key(), u.Why})
	}
	slices.SortStableFunc(f.LeftOut, func(a, b leftOutForm) int { return cmp.Or(cmp.Compare(a.Job, b.Job), byStage(a.Stage, b.Stage)) })
	f.Cost = &planCostForm{Total: new(p.Cost.Total)}
	for _, l := range p.Cost.Lines {
		f.Cost.Lines = append(f.Cost.Lines, costLineForm{string(l.Item), ref(r.jobs, l.Job), ref(r.crews, l.Crew), new(l.Amount), l.Why})
	}
	return f
}

// byStage orders the keys of stages as StageKinds does.
func byStage(a, b string) int {
	place := func(key string) int {
		return slices.IndexFunc(StageKinds, func(k StageKind) bool { return k.Key() == key })
	}
	return cmp.Compare(place(a), place(b))
}

// refs gives the names that a file calls things by.
type refs struct{ jobs, crews, firms, sites map[uuid.UUID]string }

func refsOf(s *Snapshot) (refs, error) {
	r := refs{map[uuid.UUID]string{}, map[uuid.UUID]string{}, map[uuid.UUID]string{}, map[uuid.UUID]string{}}
	c := &snapshotCheck{}
	seen := map[[2]string]bool{}
	name := func(of map[uuid.UUID]string, what, name string, id uuid.UUID) {
		switch {
		case !goodRef(name):
			c.add("name of a "+what, name, wantRef)
		case seen[[2]string{what, name}]:
			c.add(what, name, "each "+what+" under a name of its own: files call it by that")
		}
		seen[[2]string{what, name}] = true
		of[id] = name
	}
	for i := range s.Jobs {
		j := &s.Jobs[i]
		name(r.jobs, "job", j.Ref, j.ID)
		if old, ok := r.sites[j.Site.ID]; !ok || j.Ref < old {
			r.sites[j.Site.ID] = j.Ref
		}
	}
	for _, x := range s.Crews {
		name(r.crews, "crew", x.Name, x.ID)
	}
	for _, x := range s.ScaffoldFirms {
		name(r.firms, "scaffold firm", x.Name, x.ID)
	}
	if len(c.bad) > 0 {
		return r, c.bad[0]
	}
	return r, nil
}

const wantRef = "a name of 1 to 200 bytes, no identifier"

// goodRef keeps names and identifiers apart: a file may use either.
func goodRef(name string) bool {
	return name != "" && len(name) <= 200 && uuid.Validate(name) != nil
}

// ref names a thing of the file, or gives the identifier of one that is not in
// it; nothing for none.
func ref(of map[uuid.UUID]string, id uuid.UUID) string {
	if name, ok := of[id]; ok {
		return name
	}
	if id == uuid.Nil {
		return ""
	}
	return id.String()
}

// inLines writes a form with each member of the document, and each element of
// its lists, on a line of its own, so that two files can be compared by line.
func inLines(form any) ([]byte, error) {
	var b bytes.Buffer
	if err := writeMembers(&b, reflect.ValueOf(form), ""); err != nil {
		return nil, err
	}
	b.WriteByte('\n')
	if b.Len() > MostFileBytes {
		return nil, fault.Bad("file", fmt.Sprintf("%d bytes", b.Len()), fmt.Sprintf("at most %d bytes: plan fewer days", MostFileBytes))
	}
	return b.Bytes(), nil
}

func writeMembers(b *bytes.Buffer, form reflect.Value, indent string) error {
	between := "{\n"
	for i := range form.NumField() {
		name, options, _ := strings.Cut(form.Type().Field(i).Tag.Get("json"), ",")
		value := form.Field(i)
		if options == "omitzero" && value.IsZero() {
			continue
		}
		fmt.Fprintf(b, "%s%s  %q: ", between, indent, name)
		between = ",\n"
		if err := writeMember(b, value, indent+"  "); err != nil {
			return err
		}
	}
	fmt.Fprintf(b, "\n%s}", indent)
	return nil
}

func writeMember(b *bytes.Buffer, value reflect.Value, indent string) error {
	switch {
	case value.Kind() == reflect.Pointer && value.Elem().Kind() == reflect.Struct:
		return writeMembers(b, value.Elem(), indent)
	case value.Kind() == reflect.Slice && value.Type().Elem().Kind() == reflect.Struct && value.Len() > 0:
		between := "[\n"
		for i := range value.Len() {
			b.WriteString(between + indent + "  ")
			between = ",\n"
			if err := writeOne(b, value.Index(i)); err != nil {
				return err
			}
		}
		fmt.Fprintf(b, "\n%s]", indent)
		return nil
	}
	return writeOne(b, value)
}

func writeOne(b *bytes.Buffer, value reflect.Value) error {
	text, err := json.Marshal(value.Interface())
	if err != nil {
		return fault.Bad("value", "", "texts that are Unicode and numbers that are finite: "+err.Error())
	}
	b.Write(text)
	return nil
}
