package api

import (
	"context"
	"crypto/sha256"
	"errors"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// AssessmentFile is everything about one job's risk assessment.
type AssessmentFile struct {
	Job      schedule.Job
	Versions []safety.AssessmentInForce // the newest first
	Made     safety.Assessment          // from the facts, the library and what was seen, as they are now
	Facts    safety.Facts
	Faults   []string // survey facts that cannot be read
	Site     []safety.SiteHazard
	Answers  []safety.SurveyAnswer // the newest first
}

// Library is the hazard library as the firm sees it.
func (s *Service) Library(ctx context.Context, firm uuid.UUID) (safety.Library, error) {
	own, err := s.safety.FirmHazards(ctx, firm)
	if err != nil {
		return safety.Library{}, err
	}
	return safety.DefaultLibrary().With(own)
}

// AssessmentFile reads everything about one job's risk assessment.
func (s *Service) AssessmentFile(ctx context.Context, firm uuid.UUID, ref string) (AssessmentFile, error) {
	var f AssessmentFile
	var err error
	if f.Job, err = s.schedule.Job(ctx, firm, ref); err != nil {
		return f, err
	}
	if f.Versions, err = s.safety.AssessmentVersions(ctx, firm, f.Job.ID); err != nil {
		return f, err
	}
	if f.Facts, f.Faults, err = s.safety.Facts(ctx, firm, f.Job.ID); err != nil {
		return f, err
	}
	if f.Site, err = s.safety.SiteHazards(ctx, firm, f.Job.ID); err != nil {
		return f, err
	}
	if f.Answers, err = s.safety.AnswersOf(ctx, firm, f.Job.ID); err != nil {
		return f, err
	}
	lib, err := s.Library(ctx, firm)
	f.Made = safety.AssessSite(f.Facts, lib, f.Site)
	return f, err
}

// Newest is the newest version; nil when none is issued.
func (f AssessmentFile) Newest() *safety.AssessmentInForce {
	if len(f.Versions) == 0 {
		return nil
	}
	return &f.Versions[0]
}

// Version finds a version by its number; nil when there is none.
func (f AssessmentFile) Version(n int) *safety.AssessmentInForce {
	for i := range f.Versions {
		if f.Versions[i].Version == n {
			return &f.Versions[i]
		}
	}
	return nil
}

// AssessmentChanges says what changed from one version of a job's assessment to
// another. to 0 is what would be issued now.
func (s *Service) AssessmentChanges(ctx context.Context, firm uuid.UUID, ref string, from, to int) ([]safety.Difference, AssessmentFile, error) {
	f, err := s.AssessmentFile(ctx, firm, ref)
	if err != nil {
		return nil, f, err
	}
	was := f.Version(from)
	if was == nil {
		return nil, f, fault.Missing("version", strconv.Itoa(from))
	}
	is := f.Made
	if to != 0 {
		v := f.Version(to)
		if v == nil {
			return nil, f, fault.Missing("version", strconv.Itoa(to))
		}
		is = v.Body
	}
	return safety.Diff(was.Body, is), f, nil
}

// AnswerSurvey records what somebody found out about a job's site: the facts by
// their keys; nil makes one not known again. Facts of the plan are not answered
// here. Everything is taken or nothing.
func (s *Service) AnswerSurvey(ctx context.Context, by Caller, id uuid.UUID, ref string, answers map[string]any) error {
	j, err := s.schedule.Job(ctx, by.Firm, ref)
	if err != nil {
		return err
	}
	known := map[string]safety.FactDef{}
	for _, d := range safety.FactList() {
		known[d.Key] = d
	}
	var bad []error
	for _, key := range slices.Sorted(maps.Keys(answers)) {
		d, ok := known[key]
		if !ok || d.From != safety.FromSurvey && d.From != safety.FromRecord || key == "site_hazards" {
			bad = append(bad, fault.Bad("fact "+key, "", "a fact of the survey or of a paper"))
		}
	}
	read, err := safety.FactsFrom(answers)
	if err := errors.Join(append(bad, err)...); err != nil {
		return err
	}
	if len(answers) == 0 {
		return fault.Bad("answers", "", "at least one answer")
	}
	facts := maps.Clone(j.Site.Facts)
	if facts == nil {
		facts = map[string]any{}
	}
	kept := map[string]any{}
	for key := range answers {
		f, is := read[key]
		switch {
		case !is:
			delete(facts, key)
			kept[key] = nil
		case f.Kind == safety.YesNo:
			facts[key], kept[key] = f.Yes, f.Yes
		case f.Kind == safety.Number:
			facts[key], kept[key] = f.N, f.N
		default:
			facts[key], kept[key] = f.S, f.S
		}
	}
	j.Site.Facts = facts
	if err := s.schedule.SaveJob(ctx, by.Firm, j, by.Name, s.now()); err != nil {
		return err
	}
	return s.safety.AddAnswers(ctx, by.Firm, j.ID, id, safety.SurveyAnswer{Answers: kept, By: by.Name, At: s.now()})
}

// SeeOnSite records a hazard that somebody saw at a job, or more controls for
// one of the library, with a photo or without: photo nil = none.
func (s *Service) SeeOnSite(ctx context.Context, by Caller, id uuid.UUID, ref string, h safety.SiteHazard, photo []byte) (safety.SiteHazard, error) {
	j, err := s.schedule.Job(ctx, by.Firm, ref)
	if err != nil {
		return h, err
	}
	lib, err := s.Library(ctx, by.Firm)
	if err != nil {
		return h, err
	}
	if h.About != "" && !slices.ContainsFunc(lib.Hazards, func(k safety.Hazard) bool { return k.ID == h.About }) {
		return h, fault.Bad("about", h.About, "the code of a hazard of the library, or nothing for one of its own")
	}
	h.ID, h.Job, h.By, h.At = id, j.ID, by.Name, s.now()
	kept, err := keptPhoto(id, photo)
	if err != nil {
		return h, errors.Join(h.Check(), err)
	}
	return s.safety.AddSiteHazard(ctx, by.Firm, h, kept)
}

// keptPhoto looks at a photo by its bytes: what a browser says of a file is not
// believed.
func keptPhoto(id uuid.UUID, photo []byte) (*safety.KeptPhoto, error) {
	if len(photo) == 0 {
		return nil, nil
	}
	kind := http.DetectContentType(photo)
	if !slices.Contains([]string{"image/jpeg", "image/png", "image/webp"}, kind) {
		return nil, fault.Bad("file", kind, "a JPEG, PNG or WebP photo")
	}
	if len(photo) > safety.LargestPhoto {
		return nil, fault.Bad("file", strconv.Itoa(len(photo)/1024)+" KB", "a photo of at most 6 MB")
	}
	if _, err := safety.WithoutTraces(kind, photo); err != nil {
		return nil, err // what could never be shown is not kept
	}
	return &safety.KeptPhoto{ID: uuid.NewSHA1(id, []byte("photo")), SHA256: sha256.Sum256(photo), MediaType: kind, Body: photo}, nil
}

// NoLongerOnSite takes away what was seen at a job, with the reason.
func (s *Service) NoLongerOnSite(ctx context.Context, by Caller, ref string, hazard uuid.UUID, why string) error {
	j, err := s.schedule.Job(ctx, by.Firm, ref)
	if err != nil {
		return err
	}
	return s.safety.RemoveSiteHazard(ctx, by.Firm, j.ID, hazard, strings.TrimSpace(why), by.Name, s.now())
}

// JobSums works out the sums of a job from its facts, the published plan and
// what was typed.
func (s *Service) JobSums(ctx context.Context, firm uuid.UUID, ref string, typed map[string]string) ([]safety.Sum, safety.Given, schedule.Job, error) {
	j, err := s.schedule.Job(ctx, firm, ref)
	if err != nil {
		return nil, safety.Given{}, j, err
	}
	facts, _, err := s.safety.Facts(ctx, firm, j.ID)
	if err != nil {
		return nil, safety.Given{}, j, err
	}
	inputs := safety.FactInputs(facts)
	if err := s.countPeople(ctx, firm, j, inputs); err != nil {
		return nil, safety.Given{}, j, err
	}
	g, err := safety.ReadSumInputs(inputs, typed)
	return safety.Sums(g), g, j, err
}

// countPeople counts from the published plan the working days, the most people
// at once and the person-days of a job, for the notification: a scaffold gang
// counts 3 people (common practice, no source), a crew those in it that day. A
// half-day counts as a day: nobody counts too little.
func (s *Service) countPeople(ctx context.Context, firm uuid.UUID, j schedule.Job, into map[string]string) error {
	plan, err := s.current(ctx, firm)
	if err != nil || plan == nil {
		return err
	}
	crews, err := s.schedule.Crews(ctx, firm)
	if err != nil {
		return err
	}
	const gang = 3
	people := map[civil.Date]int{}
	for _, v := range plan.Visits {
		if v.Job != j.ID {
			continue
		}
		days := map[civil.Date]bool{}
		for _, h := range v.HalfDays {
			days[h.Date()] = true
		}
		for d := range days {
			people[d] += sizeOn(crews, v, d, gang)
		}
	}
	if len(people) == 0 {
		return nil
	}
	most, all := 0, 0
	for _, n := range people {
		most, all = max(most, n), all+n
	}
	into["project_days"], into["project_at_once"], into["project_person_days"] = strconv.Itoa(len(people)), strconv.Itoa(most), strconv.Itoa(all)
	return nil
}

// sizeOn is how many people a visit brings on a day.
func sizeOn(crews []schedule.Crew, v schedule.Visit, d civil.Date, gang int) int {
	for _, c := range crews {
		if c.ID != v.Crew {
			continue
		}
		n := 0
		for _, m := range c.Members {
			if in, _ := inCrew(c, m.Person.ID, d); in {
				n++
			}
		}
		return max(n, 1)
	}
	return gang
}

// SetFirmHazards stores a firm's hazards as the next version.
func (s *Service) SetFirmHazards(ctx context.Context, by Caller, f safety.FirmHazards, base int, why string) (safety.FirmHazards, error) {
	return s.safety.SetFirmHazards(ctx, by.Firm, f, base, strings.TrimSpace(why), by.Name, s.now())
}
