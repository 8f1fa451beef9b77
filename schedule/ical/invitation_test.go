package ical_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"

	goical "github.com/emersion/go-ical"

	"toeboard/schedule/ical"
	"toeboard/weather/civil"
)

// An invitation and its cancellation pass the rule checker, alone and as
// versions of each other, and every reader takes the same from them. Names that
// would end a parameter do not.
func TestInvitationsBeforeTheJudges(t *testing.T) {
	t.Parallel()
	made := time.Date(2026, 12, 1, 7, 0, 0, 0, time.UTC)
	e := ical.Event{UID: "a@toeboard.invalid", Sequence: 3, ChangedAt: made, Status: ical.Tentative, FirstDay: civil.On(2026, 12, 9), LastDay: civil.On(2026, 12, 14),
		Summary: "Scaffold J-1, 12 Höhenstraße; longer than seventy-five octets, since it goes on and on", Location: "12 Heron Row, Quillmere", Lines: []string{"a, b", "c; d"}, Lat: 51.5, Lon: -0.1}
	v := ical.Invitation{Method: ical.Request, Event: e, At: made, Organizer: ical.Party{Name: "Quill \"A\", B: Söhne; C", Address: "answers+mg5673iq37pqza5dil347mczdkya@firm.example"},
		Attendee: ical.Party{Name: "Upright & Brace, Ltd", Address: "yard@brace.example"}}
	c := v
	c.Method, c.Event.Status, c.Event.Sequence = ical.Cancel, ical.Cancelled, 4
	c.Event.ChangedAt, c.At = made.Add(time.Hour), made.Add(time.Hour)
	var files []string
	for _, one := range []ical.Invitation{v, c} {
		raw, err := one.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		cal, err := goical.NewDecoder(bytes.NewReader(raw)).Decode()
		if err != nil {
			t.Fatal(err)
		}
		who, asked := cal.Events()[0].Props.Get("ORGANIZER"), cal.Events()[0].Props.Get("ATTENDEE")
		if who.Value != "mailto:"+v.Organizer.Address || who.Params.Get("CN") != "Quill A B Söhne C" || asked.Value != "mailto:"+v.Attendee.Address || asked.Params.Get("CN") != "Upright & Brace Ltd" {
			t.Errorf("%s names %v and %v", one.Method, who, asked)
		}
		plainly := func(s string) string { return s }
		for _, r := range readers {
			if got := r.read(t, raw).Events; len(got) != 1 || got[0] != expected(one.Event, plainly) {
				t.Errorf("%s reads %+v, want %+v", r.name, got, expected(one.Event, plainly))
			}
		}
		file := filepath.Join(t.TempDir(), string(one.Method)+".ics")
		if err := os.WriteFile(file, raw, 0o600); err != nil {
			t.Fatal(err)
		}
		files = append(files, file)
		if says, ok := icsCheck(t, file); !ok {
			t.Errorf("%s: %s", one.Method, says)
		}
	}
	if says, ok := icsCheck(t, files[1], "--old", files[0]); !ok {
		t.Errorf("the cancellation after the invitation: %s", says)
	}
	for name, bad := range map[string]func(*ical.Invitation){
		"a cancellation that is not cancelled": func(v *ical.Invitation) { v.Method = ical.Cancel },
		"a request that is":                    func(v *ical.Invitation) { v.Event.Status = ical.Cancelled },
		"no organizer":                         func(v *ical.Invitation) { v.Organizer.Address = "" },
		"an attendee without a host":           func(v *ical.Invitation) { v.Attendee.Address = "yard" },
		"another method":                       func(v *ical.Invitation) { v.Method = "PUBLISH" },
		"no time":                              func(v *ical.Invitation) { v.At = time.Time{} },
	} {
		w := v
		bad(&w)
		if _, err := w.Bytes(); err == nil {
			t.Errorf("%s is written", name)
		}
	}
}
