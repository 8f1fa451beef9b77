package paper

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/weather"
	"toeboard/weather/civil"
)

// aPack is an invented morning with something in every part of the papers.
func aPack(t testing.TB) Pack {
	t.Helper()
	loc, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	day := civil.On(2026, 11, 30)
	at := func(hour, minute, days int) time.Time { return day.At(hour, minute, loc).AddDate(0, 0, days).UTC() }
	facts, err := safety.FactsOf(map[string]any{"pitch_deg": 35.0, "inverter": "string", "ohl_support": "none", "service_overhead": false, "year_built": 1987.0,
		"nearest_access": "the lane behind no. 9", "isolation_points": "hall cupboard"},
		safety.JobNumbers{Modules: 12, ModuleWatts: 430, ModuleKg: 21.5, ModuleM2: 1.95, Address: "7 Heron Row, Quillmere", Lat: 53.17, Lon: -0.38, WorkingHeightM: 6.5,
			Stages: []string{"scaffold_erection", "roof_work", "commissioning", "scaffold_strike"}})
	if err != nil {
		t.Fatal(err)
	}
	id := func(n byte) uuid.UUID { return uuid.UUID{15: n} }
	s := safety.Snapshot{Crew: id(1), CrewName: "Alder", Job: id(2), JobRef: "Q-1041", JobState: "open", Address: "7 Heron Row, Quillmere", Day: day, Location: loc, TimeZone: loc.String(),
		Lat: weather.Is(53.17), Lon: weather.Is(-0.38), StartAt: at(8, 0, 0), EndAt: at(15, 0, 0), Stages: []string{"roof_work"}, Outdoors: true, Facts: facts,
		People: []safety.Person{{ID: id(3), Name: "Rhodri Pask", Lead: true}, {ID: id(4), Name: "Zoë Dvořák"}}}
	s.Weather = weather.Judgement{Task: weather.PanelCarrying, From: s.StartAt, To: s.EndAt, Verdict: weather.Caution, Provider: "open-meteo", Limits: 2,
		Levels:  []weather.Level{{Quantity: weather.WindGust, Caution: weather.Is(7), Stop: weather.Is(8.4), Unit: "m/s"}},
		Reasons: []weather.Reason{{Rule: "gust while carrying modules", Subject: "Mon 30 Nov 12:00", Verdict: weather.Caution, Quantity: weather.WindGust, Known: true, Value: 7.9, Limit: 7, Unit: "m/s", Source: "firm's own rule"}}}
	for i, gust := range []float64{4.1, 4.8, 5.5, 6.9, 7.9, 7.2, 6.0} {
		v := weather.Go
		if gust > 7 {
			v = weather.Caution
		}
		s.Weather.Steps = append(s.Weather.Steps, weather.StepVerdict{From: s.StartAt.Add(time.Duration(i) * time.Hour), To: s.StartAt.Add(time.Duration(i+1) * time.Hour), Verdict: v,
			Checks: []weather.Check{{Value: weather.Is(gust), Verdict: v}}})
	}
	body := safety.Assess(facts, safety.DefaultLibrary())
	s.Assessment = &safety.AssessmentInForce{ID: id(5), Version: 3, Body: body, BodyHash: body.Hash(), FactsHash: facts.Hash(), FactsNow: facts.Hash(), Approved: true,
		ApprovedBy: "Imogen Thackray", ApprovedAt: at(9, 30, -6), MadeBy: "Imogen Thackray", MadeAt: at(9, 0, -6)}
	report := safety.ScaffoldReport{ID: id(6), Job: s.Job, Kind: safety.Handover, ForWhom: "Quillmere Solar, 1 Yard Lane", Location: "front and gable", Description: "independent tied, two lifts",
		At: at(15, 0, -5), Risks: "none found", ActionTaken: "none", Further: "none", ByName: "Gwen Strand", ByPosition: "scaffold inspector", Fit: true, LoadClass: 3,
		Certificate: safety.Certificate{DesignRef: "compliance sheet 12", Lifts: 2, Ties: "through ties", ReceivedBy: "Imogen Thackray"}, RecordedBy: "Gwen Strand", RecordedAt: at(15, 30, -5)}
	inspection := report
	inspection.ID, inspection.Kind, inspection.At, inspection.Certificate = id(7), safety.Inspection, at(7, 40, -4), safety.Certificate{}
	s.Scaffold = safety.ScaffoldRecord{Expected: true, Reports: []safety.ScaffoldReport{inspection, report}, Erection: safety.StageFact{State: "done", Done: day - 5},
		Events: []safety.ScaffoldEvent{{ID: id(8), Job: s.Job, What: "wind", Detail: "gust of 19 m/s", At: at(3, 0, -9), By: "Imogen Thackray", RecordedAt: at(8, 0, -9)}}}
	s.Briefing = &safety.Briefing{ID: id(9), Crew: s.Crew, Job: s.Job, Day: day, Assessment: id(5), Checks: map[string]safety.Answer{}, GustMS: weather.Is(4.5), By: id(3), At: at(7, 50, 0)}
	for _, c := range safety.ChecksFor(s) {
		s.Briefing.Checks[c.Key] = safety.Yes
	}
	s.Readings = []safety.Reading{{GustMS: 4.5, At: at(7, 50, 0)}}
	s.Stops = []safety.StopWork{{ID: id(10), Job: s.Job, Reason: "loose board", By: "Zoë Dvořák", ByID: id(4), At: at(7, 55, 0), LiftedBy: "Rhodri Pask", LiftedByID: id(3), LiftedAt: at(8, 5, 0), LiftWhy: "board fixed"}}
	s.SignOffs = []safety.SignOff{{ID: id(11), Crew: s.Crew, Job: s.Job, Day: day, Person: id(3), Assessment: id(5), BodyHash: body.Hash(), Statement: safety.Statement(s, s.People[0]),
		TypedName: "Rhodri Pask", Proof: safety.ByPIN, Drawing: "M10 90L40 10L60 80L90 20L140 60M150 40L220 44", GivenFor: safety.BasisOf(s), ReceivedAt: at(8, 7, 0)}}
	return New("Quillmere Solar", s, safety.Decide(s, at(8, 10, 0)), "https://board.firm.example/record/decision/01a21a4d-402b-7e89-a46b-7ba7f6438306?facts="+s.Hash().String())
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// tool runs a program of poppler-utils. The check brings it; where it is not
// there the test says so, and fails when tools are required.
func tool(t *testing.T, name string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		if os.Getenv("TOEBOARD_REQUIRE_TOOLS") != "" {
			t.Fatalf("%s is needed (Debian package poppler-utils)", name)
		}
		t.Skipf("NOT CHECKED: no %s here (Debian package poppler-utils)", name)
	}
	cmd := exec.CommandContext(t.Context(), name, args...)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	text, err := cmd.Output()
	if err != nil || errs.Len() > 0 {
		t.Fatalf("%s: %v %s", name, err, errs.String())
	}
	return string(text)
}

// An independent reader of PDF (poppler) finds each part of the papers, the hash
// on each page, its fonts embedded, and no complaint.
func TestThePapersAsAnotherProgramReadsThem(t *testing.T) {
	t.Parallel()
	p := aPack(t)
	pdf := must(p.PDF())
	file := filepath.Join(t.TempDir(), "pack.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	if len(pdf) > 300_000 {
		t.Errorf("%d bytes: it should be small", len(pdf))
	}
	info := tool(t, "pdfinfo", file)
	for _, want := range []string{"Title:           Q-1041, Monday 30 November 2026, crew Alder", "Author:          Quillmere Solar", "(A4)"} {
		if !strings.Contains(info, want) {
			t.Errorf("pdfinfo: want %q in\n%s", want, info)
		}
	}
	pages := regexp.MustCompile(`Pages: +(\d+)`).FindStringSubmatch(info)[1]
	if meta := tool(t, "pdfinfo", "-meta", file); !strings.Contains(meta, "<dc:identifier>sha256:"+p.Hash.String()) {
		t.Errorf("metadata: %s", meta)
	}
	for _, line := range strings.Split(strings.TrimSpace(tool(t, "pdffonts", file)), "\n")[2:] {
		// emb, sub, uni: the library embeds only the letters in use, but does not say so in the name.
		if !regexp.MustCompile(` yes (yes|no) +yes `).MatchString(line) {
			t.Errorf("a font is not embedded, or its letters cannot be read out: %s", line)
		}
	}
	text := tool(t, "pdftotext", "-layout", file, "-")
	each := strings.Split(strings.TrimSuffix(text, "\f"), "\f")
	if fmt.Sprint(len(each)) != pages {
		t.Fatalf("%d pages of text, %s pages", len(each), pages)
	}
	for i, page := range each {
		if !strings.Contains(page, "facts "+p.Hash.String()) || !strings.Contains(page, fmt.Sprintf("page %d of %s", i+1, pages)) {
			t.Errorf("page %d lacks its number or the hash:\n%.300s", i+1, page)
		}
	}
	for i := range each { // what goes over a page is still one sentence
		foot := strings.LastIndex(each[i], "Quillmere Solar, Q-1041, crew")
		each[i] = each[i][:foot]
	}
	flat := strings.Join(strings.Fields(strings.Join(each, " ")), " ")
	for _, want := range []string{"NOT CLEAR", "decided Mon 30 Nov 2026 08:10", "In an emergency", "53.17000 degrees north, 0.38000 degrees west", "the lane behind no. 9",
		"B08 Everybody signed today's version", "Rhodri Pask, received Mon 30 Nov 2026 08:07, with their own PIN", "I, Rhodri Pask, work at job Q-1041", "Zoë Dvořák: has not signed.",
		"Held Mon 30 Nov 2026 07:50 by Rhodri Pask.", "Gust read on site: 4.5 m/s", "Work stopped Mon 30 Nov 2026 07:55 by Zoë Dvořák: loose board. Lifted Mon 30 Nov 2026 08:05 by Rhodri Pask: board fixed.",
		"Handover, Wed 25 Nov 2026 15:00: FIT FOR USE", "compliance sheet 12; 2 lifts; ties: through ties; taken over by Imogen Thackray", "Event Sat 21 Nov 2026 03:00: wind, gust of 19 m/s",
		"stop 8.4 m/s", "Version 3, made by Imogen Thackray", "Method statement", "Rescue plan", "This is no substitute for a competent person."} {
		if !strings.Contains(flat, want) {
			t.Errorf("the papers do not say %q", want)
		}
	}
	for _, e := range p.Facts.Assessment.Body.Entries {
		if !strings.Contains(flat, e.Hazard+" "+e.Name) || !strings.Contains(flat, strings.Join(strings.Fields(e.Why()), " ")) {
			t.Errorf("hazard %s is not there with its facts", e.Hazard)
		}
		for _, c := range e.Controls {
			if !strings.Contains(flat, strings.Join(strings.Fields(c.Do), " ")) {
				t.Errorf("hazard %s: the control %q is not there, or goes over a page", e.Hazard, c.Do)
			}
		}
	}
}

// The code on the first page, drawn by poppler, is read back out of the picture.
func TestTheCodeLeadsToTheRecord(t *testing.T) {
	t.Parallel()
	p := aPack(t)
	dir := t.TempDir()
	file := filepath.Join(dir, "pack.pdf")
	if err := os.WriteFile(file, must(p.PDF()), 0o600); err != nil {
		t.Fatal(err)
	}
	tool(t, "pdftoppm", "-png", "-gray", "-r", "200", "-f", "1", "-l", "1", file, filepath.Join(dir, "page"))
	pictures, err := filepath.Glob(filepath.Join(dir, "page*.png"))
	if err != nil || len(pictures) != 1 {
		t.Fatalf("%v, %v", pictures, err)
	}
	if got := codeOn(t, pictures[0]); got != p.Verify {
		t.Errorf("the code says %q, want %q", got, p.Verify)
	}
}

func TestTheSameFactsGiveTheSamePaper(t *testing.T) {
	t.Parallel()
	one, again := aPack(t), aPack(t)
	if !bytes.Equal(must(one.PDF()), must(again.PDF())) || !bytes.Equal(must(one.JSON()), must(again.JSON())) {
		t.Error("the same facts give other bytes")
	}
	again.Facts.Briefing.Checks["address"] = safety.No
	if other := New(again.Firm, again.Facts, again.Decision, again.Verify); other.Hash == one.Hash || bytes.Equal(must(one.PDF()), must(other.PDF())) {
		t.Error("other facts give the same paper")
	}
}

// Whatever is missing is said, and nothing makes it clear.
func TestPapersOfNothing(t *testing.T) {
	t.Parallel()
	p := New("", safety.Snapshot{Outdoors: true}, safety.Decision{}, "")
	file := filepath.Join(t.TempDir(), "pack.pdf")
	if err := os.WriteFile(file, must(p.PDF()), 0o600); err != nil {
		t.Fatal(err)
	}
	flat := strings.Join(strings.Fields(tool(t, "pdftotext", "-layout", file, "-")), " ")
	for _, want := range []string{"NOT CLEAR", "It is no kept record", "Nobody has signed.", "No briefing was held.", "No assessment was issued", "outdoor work is not clear", "Position unknown"} {
		if !strings.Contains(flat, want) {
			t.Errorf("want %q in %s", want, flat)
		}
	}
}
