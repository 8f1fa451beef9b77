package api

import (
	"bytes"
	"context"
	"encoding/csv"
	"image"
	"image/png"
	"mime/multipart"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/fault"
)

// roofTight records that the finished roof of a job was checked, with a photo.
func (s *scene) roofTight(ref string) {
	s.t.Helper()
	var photo bytes.Buffer
	must(s.t, png.Encode(&photo, image.NewGray(image.Rect(0, 0, 4, 4))))
	body := safety.Fields{}
	for _, f := range safety.RecordFields(safety.Weatherproof) {
		if slices.Contains(f.Words, "yes") {
			body[f.Key] = "yes"
		}
	}
	_, err := s.svc.AddRecord(context.Background(), Caller{Firm: s.firm, Person: s.lead, Name: "Rhodri Pask", Role: schedule.CrewLead, Location: time.UTC}, uuid.New(), ref, safety.Weatherproof, s.clock(), body, photo.Bytes())
	must(s.t, err)
}

// The office sees what a scaffold costs and asks to have it down; the scaffold
// firm is told.
func TestTheOfficeSeesWhatAScaffoldCosts(t *testing.T) {
	s := newScene(t)
	s.settleBefore()
	office := s.by(s.office)
	ctx := context.Background()
	office.get("/bookings").want(200).says("1 scaffold stands").says("1 week begun, 4 in the price").says("Nothing: no scaffold stands whose roof work is done").says("£45.00 on Fri 25 Dec")
	must(t, s.schedule.StageDone(ctx, s.firm, s.q1.Ref, schedule.RoofWork, tuesday-1, "Rhodri Pask", s.clock()))
	page := office.get("/bookings").want(200).says("The roof work is done since Mon 30 Nov; from Fri 25 Dec on each week costs £45.00").page()
	off, fields := fieldsOf(t, page, "/off-hire")
	fields.Set("on", "2026-12-04")
	office.form(off, fields).want(409).says("the finished roof checked tight before the scaffold comes down").says("nobody has checked that the roof is tight")
	if b := s.booking(s.q1); b.State == schedule.BookingOffHire {
		t.Fatal("a scaffold is asked down from a roof that nobody checked")
	}
	s.roofTight(s.q1.Ref)
	fields.Set("key", "checked")
	fields.Set("on", "2026-11-30")
	if office.form(off, fields).want(422).says("from Tuesday 1 December 2026 on").page().Find(".faults a[href^='#f-on-']").Length() != 1 {
		t.Error("the refusal does not lead to the day")
	}
	fields.Set("on", "2026-12-04")
	fields.Set("key", "another")
	office.form(off, fields).want(303)
	b := s.booking(s.q1)
	if b.State != schedule.BookingOffHire || b.StrikeOn != tuesday+3 {
		t.Fatalf("after asking: %s %s", b.State, b.StrikeOn)
	}
	all, err := s.svc.Messages(ctx, s.firm)
	must(t, err)
	told := 0
	for _, m := range all {
		if m.Kind == "booking_off_hire" && strings.Contains(m.Letter.Says[0], "please take it down on Fri 4 Dec") {
			told++
		}
	}
	if told != 1 {
		t.Errorf("the scaffold firm is told %d times", told)
	}
	var list HireList
	office.json("GET", "/hire", nil, nil).want(200).into(&list)
	if h := list.Hire[0]; len(list.Hire) != 2 || h.Booking.State != "off_hire" || h.StrikeTurn == nil || *h.StrikeTurn != 1 || h.WeeksBegun != 1 || h.NextChargeOn.String() != "2026-12-25" {
		t.Errorf("the list says %+v", list)
	}
	keep, fields := fieldsOf(t, office.get("/bookings").want(200).page(), "/keep")
	office.form(keep, fields).want(303)
	if b = s.booking(s.q1); b.State != schedule.BookingErected {
		t.Errorf("after keeping it: %s", b.State)
	}
	seen, fields := fieldsOf(t, office.get("/bookings").want(200).page(), "/inspected")
	office.form(seen, fields).want(303)
	// A step that does not follow is a conflict, over JSON too.
	office.json("POST", "/bookings/"+b.ID.String()+"/steps", nil, map[string]any{"step": "on_hire"}).refused(conflict)
	office.json("POST", "/bookings/"+b.ID.String()+"/steps", nil, map[string]any{"step": "struck"}).refused(invalid)
	office.json("POST", "/bookings/"+b.ID.String()+"/steps", nil, map[string]any{"step": "struck", "on": "2026-12-01"}).want(200)
	if got, err := s.schedule.Booking(ctx, s.firm, b.ID); err != nil || got.State != schedule.BookingStruck {
		t.Errorf("after the strike: %s, %v", got.State, err)
	}
}

// A day that a scaffold firm offers stands on the page with what taking it does,
// and can be taken or not.
func TestAnOfferStandsWithItsCost(t *testing.T) {
	s, v, page, _ := visitorScene(t)
	offer, fields := fieldsOf(t, v.get(page).want(200).page(), "/offer")
	fields.Set("on", "2026-12-14")
	v.form(offer, fields).want(303)
	office := s.by(s.office)
	shown := office.get("/bookings").want(200).says("They offer Mon 14 Dec instead of Wed 9 Dec").says("the plan").page()
	decline, fields := fieldsOf(t, shown, "/decline")
	office.form(decline, fields).want(303)
	b := s.booking(s.q2)
	if b.State != schedule.BookingWanted || b.ErectOn != tuesday+8 {
		t.Fatalf("after declining: %s %s", b.State, b.ErectOn)
	}
	offer, _ = fieldsOf(t, v.get(page).want(200).page(), "/offer")
	v.form(offer, url.Values{"on": {"2026-12-15"}}).want(303)
	office.form(decline, url.Values{"key": {"late"}}).want(409)
	take, fields := fieldsOf(t, office.get("/bookings").want(200).says("Take Tue 15 Dec").page(), "/take")
	office.form(take, fields).want(303)
	if b = s.booking(s.q2); b.State != schedule.BookingConfirmed || b.ErectOn != tuesday+14 {
		t.Fatalf("after taking: %s %s", b.State, b.ErectOn)
	}
}

// upload posts a file as a browser does.
func (a *agent) upload(path, name string, body []byte) answer {
	a.t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	part, err := w.CreateFormFile("file", name)
	must(a.t, err)
	_, err = part.Write(body)
	must(a.t, err)
	must(a.t, w.Close())
	return a.raw("POST", path, map[string]string{"Content-Type": w.FormDataContentType(), "Sec-Fetch-Site": "same-origin"}, b.Bytes())
}

func TestAHandoverCertificateIsSentAndKept(t *testing.T) {
	s, v, page, _ := visitorScene(t)
	b := s.booking(s.q1)
	at := page + "/bookings/" + b.ID.String() + "/certificate"
	v.get(page).want(200).says("Send the handover certificate")
	pdf := append([]byte("%PDF-1.7\n"), bytes.Repeat([]byte("x"), 2000)...)
	for name, c := range map[string][]byte{"page.pdf": []byte("<html><script>alert(1)</script>"), "program.pdf": []byte("MZ\x90\x00"), "empty.pdf": nil} {
		v.upload(at, name, c).want(422).says("a PDF, or a photograph")
	}
	v.upload(at, "large.pdf", append(pdf, bytes.Repeat([]byte("x"), schedule.MaxHandoverFile)...)).want(422).says("at most 5 MiB")
	v.form(at, url.Values{}).want(422).says("choose a file")
	v.upload(page+"/bookings/"+s.booking(s.q2).ID.String()+"x/certificate", "a.pdf", pdf).want(404)
	v.upload(at, `..\..\"handover".pdf`, pdf).want(303)
	v.upload(at, "again.pdf", pdf).want(303) // the same file: kept once
	v.get(page).want(200).says("Sent: ")
	files, err := s.schedule.HandoverFiles(context.Background(), s.firm)
	must(t, err)
	if len(files) != 1 || strings.ContainsAny(files[0].Name, `\/"`) || files[0].UploadedBy != "Upright & Brace" {
		t.Fatalf("kept are %+v", files)
	}
	office := s.by(s.office)
	href := office.get("/bookings").want(200).page().Find("a[href*='/files/']").AttrOr("href", "")
	got := office.get(href).want(200)
	if !bytes.Equal(got.Body, pdf) || got.Header.Get("Content-Type") != "application/pdf" || !strings.HasPrefix(got.Header.Get("Content-Disposition"), "attachment") ||
		!strings.Contains(got.Header.Get("Content-Security-Policy"), "sandbox") || got.Header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("the office gets %d bytes with %v", len(got.Body), got.Header)
	}
	v.get(href).want(303) // without an account it leads to the sign-in
	// The database refuses what the program would not write.
	for name, sql := range map[string]string{
		"another type":  `INSERT INTO handover_file SELECT firm_id, gen_random_uuid(), booking_id, name, 'text/html', 'x', sha256('x'), uploaded_by, uploaded_at FROM handover_file`,
		"another hash":  `INSERT INTO handover_file SELECT firm_id, gen_random_uuid(), booking_id, name, media_type, 'x', sha256('y'), uploaded_by, uploaded_at FROM handover_file`,
		"an empty file": `INSERT INTO handover_file SELECT firm_id, gen_random_uuid(), booking_id, name, media_type, '', sha256(''), uploaded_by, uploaded_at FROM handover_file`,
		"a change":      `UPDATE handover_file SET name = 'other'`,
		"a removal":     `DELETE FROM handover_file`,
	} {
		if _, err := s.db.Owner.Exec(context.Background(), sql); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
}

func TestTheScaffoldFirmTakesItsListAndRefusesADay(t *testing.T) {
	s, v, page, _ := visitorScene(t)
	got := v.get(page + "/bookings.csv").want(200)
	rows, err := csv.NewReader(bytes.NewReader(got.Body)).ReadAll()
	must(t, err)
	if len(rows) != 3 || rows[0][0] != "job" || rows[2][0] != "Q-2" || rows[2][4] != "2026-12-09" || strings.Contains(string(got.Body), "Hallam") {
		t.Errorf("the file says %q", rows)
	}
	refuse, fields := fieldsOf(t, v.get(page).want(200).says("We cannot do").page(), "/refuse")
	v.form(refuse, fields).want(303)
	v.form(refuse, fields).want(303)
	if b := s.booking(s.q2); b.State != schedule.BookingRefused {
		t.Errorf("after refusing: %s", b.State)
	}
	v.get(page).want(200).says("You cannot do this day")
	week := s.by(s.office).get("/").want(200).says("Waits for your decision: 1 day that a scaffold firm cannot do").says("they cannot do Wed 9 Dec and offer no other day: plan again, or ring them")
	if to := week.page().Find(".notice a[href='/bookings']").Length(); to != 1 {
		t.Errorf("the week leads %d times to what waits", to)
	}
	if strings.Contains(string(s.by(s.lead).get("/").want(200).Body), "Waits for your decision") {
		t.Error("a crew lead is asked to decide")
	}
	s.by(s.office).get("/bookings").want(200).says("They cannot do Wed 9 Dec and offer no other day")
	if got := s.by(s.office).get("/bookings.csv").want(200); !bytes.Contains(got.Body, []byte("day refused,2026-12-09,2026-12-14,,0,")) || !bytes.Contains(got.Body, []byte("Upright & Brace")) {
		t.Errorf("the office's file says %s", got.Body)
	}
}

// A change inside a scaffold firm's notice is named, and needs somebody's word.
func TestAChangeInsideTheNoticeNeedsSomebodysWord(t *testing.T) {
	s := newScene(t)
	s.settleBefore()
	s.setClock(benchStart.AddDate(0, 0, 3)) // Friday 4 December: five working days end on the 11th, Q-2 goes up on the 9th
	draft := s.saveByHand(func(p *schedule.Plan) {
		p.FirstDay = tuesday + 4
		p.Visits = p.Visits[:0]
		p.Unplanned = append(p.Unplanned, schedule.Unplanned{Job: s.q2.ID, Stage: schedule.ScaffoldErection, Why: "the roof is not ready"})
	})
	short, err := s.svc.ShortNotices(context.Background(), s.firm, draft)
	must(t, err)
	b := s.booking(s.q2)
	if len(short) != 1 || short[0].Booking != b.ID || !strings.Contains(short[0].Why, "Q-2: the scaffold that Upright & Brace is to erect on Wed 9 Dec is called off; its notice of 5 working days ends before Fri 11 Dec") {
		t.Fatalf("inside the notice are %+v", short)
	}
	for name, agreed := range map[string]func([]schedule.ShortNotice) error{
		"nobody":       func(n []schedule.ShortNotice) error { return allAgreed(n, nil) },
		"another word": func(n []schedule.ShortNotice) error { return allAgreed(n, []uuid.UUID{uuid.New()}) },
	} {
		_, _, err := s.schedule.PublishAgreed(context.Background(), s.firm, draft.ID, "Imogen Thackray", s.clock(), nil, agreed)
		if fault.KindOf(err) != fault.Conflict || !strings.Contains(err.Error(), b.ID.String()) {
			t.Errorf("%s agreed: %v", name, err)
		}
	}
	if s.booking(s.q2) != b {
		t.Error("it was changed all the same")
	}
	_, changes, err := s.schedule.PublishAgreed(context.Background(), s.firm, draft.ID, "Imogen Thackray", s.clock(), nil,
		func(n []schedule.ShortNotice) error { return allAgreed(n, []uuid.UUID{b.ID}) })
	must(t, err)
	for _, c := range changes {
		if c.After.ID == b.ID && !strings.Contains(c.Why, "This comes inside your notice; Imogen Thackray agreed to it.") {
			t.Errorf("the scaffold firm reads %q", c.Why)
		}
	}
}
