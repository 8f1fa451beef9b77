package safety

import (
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/weather/fault"
)

// standing is a scaffold handed over and inspected a few days before monday.
func standingFile(t *testing.T) (ScaffoldFile, *world) {
	t.Helper()
	w := clearMorning(t)
	for i := range w.Scaffold.Reports {
		w.Scaffold.Reports[i].ID = uuid.UUID{15: byte(i + 1)}
		w.Scaffold.Reports[i].RecordedAt = w.Scaffold.Reports[i].At.Add(time.Hour)
	}
	return ScaffoldFile{ScaffoldRecord: w.Scaffold, Job: w.Job}, w
}

// The tag says "may be used" exactly when the morning's four conditions of the
// scaffold are met.
func TestTheTagSaysWhatTheDecisionSays(t *testing.T) {
	t.Parallel()
	changes := map[string]func(*world){
		"as it is":          func(*world) {},
		"inspection lapsed": func(w *world) { w.now = w.now.AddDate(0, 0, 4) },
		"event since": func(w *world) {
			w.Scaffold.Events = []ScaffoldEvent{{Job: w.Job, What: "impact", Detail: "van", At: w.now.Add(-time.Hour)}}
		},
		"no handover":           func(w *world) { w.Scaffold.Reports = w.Scaffold.Reports[:1] },
		"nothing":               func(w *world) { w.Scaffold.Reports = nil },
		"a finding":             func(w *world) { w.Scaffold.Reports[0].Further = "two boards" },
		"not fit":               func(w *world) { w.Scaffold.Reports[0].Fit = false },
		"certificate is bare":   func(w *world) { w.Scaffold.Reports[1].Certificate = Certificate{} },
		"no load class":         func(w *world) { w.Scaffold.Reports[1].LoadClass = 0 },
		"struck":                func(w *world) { w.Scaffold.Strike = StageFact{State: "done", Done: w.Day - 1} },
		"report of another job": func(w *world) { w.Scaffold.Reports[0].Job = uuid.UUID{1} },
	}
	for name, change := range changes {
		w := clearMorning(t)
		change(w)
		f := ScaffoldFile{ScaffoldRecord: w.Scaffold, Job: w.Job}
		tag := f.Tag(w.now, w.Location)
		s := w.Snapshot
		s.StartAt, s.EndAt = w.now.Add(-time.Minute), w.now.Add(time.Minute)
		if name == "inspection lapsed" {
			s.Day = w.Day + 4
		}
		d := Decide(s, w.now)
		want := true
		for _, code := range []string{"B01", "B02", "B03", "B04"} {
			want = want && d.state(code) == Met
		}
		if got := tag.State == Met; got != want || got != strings.HasPrefix(tag.Words, "may be used until ") || tag.Why == "" {
			t.Errorf("%s: tag %+v, decision says %v", name, tag, want)
		}
		if (name == "as it is") != want {
			t.Errorf("%s: usable %v", name, want)
		}
	}
}

func TestDuties(t *testing.T) {
	t.Parallel()
	f, w := standingFile(t)
	say := func(f ScaffoldFile, rule string, now time.Time) Duty {
		for _, d := range f.Duties(now, w.Location) {
			if d.Source == "" || d.Sentence() == "" {
				t.Errorf("%+v says too little", d)
			}
			if strings.Contains(d.Rule, rule) {
				return d
			}
		}
		t.Fatalf("no duty %q", rule)
		return Duty{}
	}
	if d := say(f, "before first use", w.now); d.State != Met {
		t.Errorf("%+v", d)
	}
	if d := say(f, "7 days", w.now); d.State != Met || !strings.Contains(d.Says, "lapses") {
		t.Errorf("%+v", d)
	}
	if d := say(f, "7 days", w.now.AddDate(0, 0, 8)); d.State != NotMet {
		t.Errorf("a week later: %+v", d)
	}
	if d := say(f, "written by", w.now); d.State != Met {
		t.Errorf("%+v", d)
	}
	// 24 hours from the inspection (deadlines.csv: "Inspection report delivered, 24 hours").
	i := f.Reports[0]
	if d := say(f, "delivered", i.At.Add(23*time.Hour)); d.State != Unknown || !d.By.Equal(i.At.Add(24*time.Hour)) {
		t.Errorf("to be delivered: %+v", d)
	}
	if d := say(f, "delivered", i.At.Add(25*time.Hour)); d.State != NotMet {
		t.Errorf("not delivered in time: %+v", d)
	}
	for after, want := range map[time.Duration]State{24 * time.Hour: Met, 24*time.Hour + time.Second: NotMet} {
		f.Deliveries = []Delivery{{Report: i.ID, To: "Quillmere Solar", At: i.At.Add(after)}}
		if d := say(f, "delivered", w.now); d.State != want {
			t.Errorf("after %s: %+v", after, d)
		}
	}
	f.Reports[0].RecordedAt = i.At.AddDate(0, 0, 2)
	if d := say(f, "written by", w.now); d.State != NotMet {
		t.Errorf("written two days later: %+v", d)
	}
	if d := say(f, "kept", w.now); !strings.Contains(d.Says, "3 months") || !d.By.IsZero() {
		t.Errorf("%+v", d)
	}
	f.Strike = StageFact{State: "done", Done: w.Day}
	if d := say(f, "kept", w.now); !d.By.Equal(w.Day.At(0, 0, w.Location).AddDate(0, 3, 0)) {
		t.Errorf("3 months after the strike: %+v", d)
	}
	// Each clock of the regulation that deadlines.csv names for the scaffold has a duty.
	rows := table(t, "deadlines.csv")
	for duty, rule := range map[string]string{"Scaffold inspection": "7 days", "Inspection report prepared": "written by", "Inspection report delivered": "delivered", "Report kept": "kept"} {
		found := false
		for _, row := range rows {
			found = found || row["duty"] == duty
		}
		if !found {
			t.Errorf("deadlines.csv has no %q", duty)
		}
		say(f, rule, w.now)
	}
}

func TestGustEvent(t *testing.T) {
	t.Parallel()
	f, w := standingFile(t)
	i := f.Reports[0].At
	gust := func(ms float64, after time.Duration) Gust {
		return Gust{MS: ms, At: i.Add(after), From: "read on site"}
	}
	for name, c := range map[string]struct {
		gusts []Gust
		want  bool
	}{
		"under the limit":       {[]Gust{gust(17.1, time.Hour)}, false},
		"at the limit":          {[]Gust{gust(17.2, time.Hour)}, true},
		"before the inspection": {[]Gust{gust(30, -time.Hour)}, false},
		"still to come":         {[]Gust{gust(30, 1000*time.Hour)}, false},
		"none":                  {nil, false},
	} {
		e := f.GustEvent(c.gusts, UsualEventGust, w.now)
		if (e != nil) != c.want {
			t.Errorf("%s: %+v", name, e)
		}
	}
	e := f.GustEvent([]Gust{gust(18, time.Hour), gust(24.5, 2*time.Hour), gust(20, 3*time.Hour)}, UsualEventGust, w.now)
	if e == nil || !e.At.Equal(i.Add(2*time.Hour)) || !strings.Contains(e.Detail, "24.5 m/s") || !strings.Contains(e.Detail, "17.2") {
		t.Fatalf("the strongest: %+v", e)
	}
	// It closes the scaffold until it is inspected again, and is made once.
	f.Events = append(f.Events, *e)
	if again := f.GustEvent([]Gust{gust(26, 4*time.Hour)}, UsualEventGust, w.now); again != nil {
		t.Errorf("a second event while the first waits for its inspection: %+v", again)
	}
	if tag := f.Tag(w.now, w.Location); tag.State != NotMet || !strings.Contains(tag.Why, "24.5") {
		t.Errorf("after the event: %+v", tag)
	}
	r := goodReport(Inspection, w.now.Add(-time.Minute))
	r.Job = w.Job
	f.Reports = append(f.Reports, r)
	if tag := f.Tag(w.now, w.Location); tag.State != Met {
		t.Errorf("inspected again: %+v", tag)
	}
	f.Reports, f.Events = nil, nil
	if e := f.GustEvent([]Gust{gust(30, time.Hour)}, UsualEventGust, w.now); e != nil {
		t.Errorf("nothing stands, and %+v", e)
	}
}

func TestCertificateParticulars(t *testing.T) {
	t.Parallel()
	at := monday.At(7, 40, clearMorning(t).Location).UTC()
	for field, spoil := range map[string]func(*ScaffoldReport){
		"design_ref": func(r *ScaffoldReport) { r.DesignRef = " " }, "lifts": func(r *ScaffoldReport) { r.Lifts = 0 },
		"ties": func(r *ScaffoldReport) { r.Ties = "" }, "received_by": func(r *ScaffoldReport) { r.ReceivedBy = "" },
	} {
		r := goodReport(Handover, at)
		spoil(&r)
		if errs := fault.Each(r.Check()); len(errs) != 1 || errs[0].Field != field || errs[0].Want == "" {
			t.Errorf("a handover without %s: %v", field, errs)
		}
	}
	i := goodReport(Inspection, at)
	i.DesignRef = "sheet"
	if fault.KindOf(i.Check()) != fault.Invalid {
		t.Error("an inspection takes a certificate")
	}
}
